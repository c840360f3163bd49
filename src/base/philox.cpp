#include "base/philox_lanes.hpp"
#include "base/random.hpp"

namespace plexor::base {

std::array<std::uint32_t, 4> philox4x32_10(std::array<std::uint32_t, 4> counter,
                                           std::array<std::uint32_t, 2> key) {
  PhiloxLanes<1> words{{{counter[0]}, {counter[1]}, {counter[2]}, {counter[3]}}};
  philox4x32_10(words, key);
  return {words[0][0], words[1][0], words[2][0], words[3][0]};
}

}  // namespace plexor::base
