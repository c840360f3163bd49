#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

// In which order to run, so that neither the place nor a slow drift is taken for a unit or a
// release.

namespace plexor::analysis {

/// Which unit stands at which place: [run][place]. A Latin square: in as many runs as there are
/// units each unit stands at each place once. Cyclic, with the runs and the units in random order
/// of this seed (Fisher 1935, The Design of Experiments, chapter 5: from memory). 1 unit or more.
[[nodiscard]] std::vector<std::vector<std::size_t>> latin_square(std::size_t units,
                                                                 std::uint64_t seed);

enum class Turn : std::uint8_t { base, candidate };

/// A-B-B-A, so many times over: whatever drifts steadily meets both alike.
[[nodiscard]] std::vector<Turn> there_and_back(std::size_t times);

}  // namespace plexor::analysis
