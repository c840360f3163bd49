#pragma once

#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "reference/reference_row.hpp"

namespace plexor::reference {

/// What the code says: a number, numbers in order, or a text.
using Answer = std::variant<double, std::vector<double>, std::string>;

/// Computes one quantity. It answers a row that has this method (its input `method`
/// or `generator`, else none), this quantity, and all inputs listed in `needs`.
struct Handler {
  std::string_view method;
  std::string_view quantity;
  std::string_view needs;  ///< keys separated by blanks
  Answer (*answer)(const Inputs& inputs);
};

/// The handler for a row, or nothing where the code does not have the quantity yet.
const Handler* find_handler(const std::vector<Handler>& handlers, const Row& row);

/// Whether the answer is the expected value within the row's tolerance. Throws
/// base::InputError if a number is due but none is expected.
bool agrees(const Answer& answer, const Row& row);

std::string to_text(const Answer& answer);

// One table for each topic; a new quantity is one entry in one of them.
std::vector<Handler> binomial_handlers();
std::vector<Handler> poisson_handlers();
std::vector<Handler> proportion_handlers();
std::vector<Handler> two_sample_handlers();
std::vector<Handler> multiplicity_handlers();
std::vector<Handler> quantile_handlers();
std::vector<Handler> sequential_handlers();
std::vector<Handler> matching_handlers();
std::vector<Handler> generator_handlers();
std::vector<Handler> physics_handlers();
std::vector<Handler> uncertainty_handlers();
std::vector<Handler> response_handlers();
std::vector<Handler> trend_handlers();

}  // namespace plexor::reference
