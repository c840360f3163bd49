#pragma once

#include <optional>
#include <span>
#include <string_view>

#include "virtual/physics/impact.hpp"

namespace plexor::physics {

/// What a surface is made of, taken as isotropic. Typical values: single
/// pieces differ, and wood is stiff along the grain and soft across it (spruce:
/// 13 to 23 times), so model frequencies are good to a factor of 1.5 at best.
struct Material {
  std::string_view name;
  Elastic elastic;
  double density_kg_m3 = 0.0;
  double loss_factor = 0.0;  ///< of the bare material; the mounting adds to it
  std::string_view source;
};

/// All materials that a rig file may name.
[[nodiscard]] std::span<const Material> materials();

/// Nothing if there is no material of that name.
[[nodiscard]] std::optional<Material> find_material(std::string_view name);

}  // namespace plexor::physics
