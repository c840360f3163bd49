#pragma once

#include "analysis/intervals.hpp"
#include "reference/reference_row.hpp"

namespace plexor::reference {

/// The input `side`: two (also where it is left out), lower or upper.
inline analysis::Sides sides_of(const Inputs& inputs) {
  const std::string side = inputs.text_or("side", "two");
  if (side == "two") return analysis::Sides::two;
  if (side == "lower") return analysis::Sides::lower;
  if (side == "upper") return analysis::Sides::upper;
  throw base::InputError(inputs.place(), "side=" + side, "two, lower or upper");
}

}  // namespace plexor::reference
