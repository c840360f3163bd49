#include "virtual/power_chain.hpp"

#include <gtest/gtest.h>

namespace plexor::virtual_rig {
namespace {

using namespace std::chrono_literals;

constexpr lines::KernelInstant start{10s};

PowerChain powered() {
  PowerChain chain({.one_shot = 100ms, .longest_on = 60ms});
  chain.loop(true);
  chain.lid(true);
  chain.enable(true);
  chain.watchdog_edge(start);
  chain.gate(true, start);
  EXPECT_TRUE(chain.coil_on(start));
  return chain;
}

TEST(PowerChain, EveryPartInSeriesCutsTheCurrentByItself) {  // [S30]
  PowerChain chain = powered();
  chain.loop(false);
  EXPECT_FALSE(chain.coil_on(start));
  chain = powered();
  chain.lid(false);
  EXPECT_FALSE(chain.coil_on(start));
  chain = powered();
  chain.enable(false);
  EXPECT_FALSE(chain.coil_on(start));
  chain = powered();
  chain.gate(false, start);
  EXPECT_FALSE(chain.coil_on(start));
}

TEST(PowerChain, AStarvedWatchdogCutsTheCurrent) {  // [S31]
  PowerChain chain({.one_shot = 100ms, .longest_on = {}});
  chain.loop(true);
  chain.lid(true);
  chain.enable(true);
  chain.gate(true, start);
  EXPECT_FALSE(chain.coil_on(start)) << "never fed";
  chain.watchdog_edge(start);
  EXPECT_TRUE(chain.coil_on(start + 99ms));
  EXPECT_FALSE(chain.coil_on(start + 100ms));
}

TEST(PowerChain, AGateThatStaysOnIsCutAfterTheLongestOnTimeAndStaysCut) {  // [S32]
  PowerChain chain = powered();
  EXPECT_TRUE(chain.coil_on(start + 59ms));
  chain.watchdog_edge(start + 50ms);
  chain.gate(true, start + 55ms);  // again and again does not begin anew
  EXPECT_FALSE(chain.coil_on(start + 60ms));
  chain.gate(false, start + 70ms);
  chain.gate(true, start + 80ms);
  EXPECT_TRUE(chain.coil_on(start + 80ms));
}

}  // namespace
}  // namespace plexor::virtual_rig
