#include "virtual/physics/materials.hpp"

#include <algorithm>

namespace plexor::physics {

namespace {

// Middles of the published ranges. "from memory" marks what was not looked up.
constexpr Material table[] = {
    {"oak",
     {12.27e9, 0.37},
     680.0,
     0.010,
     "white oak along the grain: USDA FPL-GTR-190 table 12-1 (E, density); nu, eta from memory"},
    {"spruce",
     {10.8e9, 0.37},
     425.0,
     0.015,
     "Sitka spruce along the grain: from memory, USDA Wood Handbook tables 5-1 to 5-3"},
    {"plywood",
     {7.75e9, 0.25},
     500.0,
     0.020,
     "USDA FPL-GTR-190 table 12-1 (E 6.96 to 8.55 GPa); rest from memory"},
    {"MDF", {3.59e9, 0.25}, 750.0, 0.020, "USDA FPL-GTR-190 table 12-1 (E); rest from memory"},
    {"particle board",
     {3.45e9, 0.22},
     700.0,
     0.020,
     "USDA FPL-GTR-190 table 12-1 (E 2.76 to 4.14 GPa); rest from memory"},
    {"glass",
     {70.0e9, 0.22},
     2500.0,
     0.0015,
     "engineering property tables (E 48 to 83 GPa); eta from memory"},
    {"granite",
     {55.0e9, 0.22},
     2675.0,
     0.005,
     "from memory: rock mechanics texts (E 40 to 70 GPa)"},
    {"steel", {205.0e9, 0.30}, 7800.0, 0.0003, "Irvine, Damping properties of materials"},
    {"plasterboard",
     {3.2e9, 0.30},
     800.0,
     0.050,
     "Vigran, Building Acoustics, table 8.2 (E, density); rest from memory"},
};

}  // namespace

std::span<const Material> materials() { return table; }

std::optional<Material> find_material(std::string_view name) {
  const auto* const found = std::find_if(std::begin(table), std::end(table),
                                         [&](const Material& m) { return m.name == name; });
  if (found == std::end(table)) return std::nullopt;
  return *found;
}

}  // namespace plexor::physics
