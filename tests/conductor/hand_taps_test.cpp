#include "run/hand_taps.hpp"

#include "../virtual/workshop.hpp"
#include "base/error.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

class HandTaps : public ::testing::Test {
 protected:
  HandTaps() { rig_.speed_gate = {{7, false}, 1e-3, 1e-3}; }

  /// A tapper on a virtual rig that is made now, of the rig file as it is now.
  HandTapper& tapper() {
    virtual_rig::Simulation simulation = virtual_rig::workshop_simulation();
    simulation.tapper.solenoid.flag_m = rig_.speed_gate->flag_m;
    simulation.tapper.solenoid.flag_to_surface_m = rig_.speed_gate->to_contact_m;
    world_.emplace(rig_, simulation, 1, false);
    tapper_.emplace(rig_, RigPorts{*world_, *world_, *world_},
                    safety::CoilPast{safety::cold(rig_.coil)},
                    HandTapper::Hooks{[this] { return stopped_; },
                                      [this](const Fire& fire) { fired_.push_back(fire); }});
    return *tapper_;
  }

  rig::RigFile rig_ = virtual_rig::workshop_rig();
  std::optional<virtual_rig::VirtualRig> world_;
  std::optional<HandTapper> tapper_;
  std::vector<Fire> fired_;
  bool stopped_ = false;
};

TEST_F(HandTaps, SayWhatWasMeasured) {
  const auto tap = tapper().tap(11500us, 400ms);
  ASSERT_TRUE(tap);
  EXPECT_EQ(tap->actual.on_time, 11500us);
  EXPECT_NEAR(base::to_ms(tap->transit().value()), 14.23, 0.5);
  EXPECT_NEAR(tap->strike_m_s(*rig_.speed_gate).value(), 0.929, 0.04);
  EXPECT_EQ(tap->contacts.size(), 1U);
  ASSERT_EQ(fired_.size(), 1U);  // whoever keeps the coil's past has heard of it
  EXPECT_GT(fired_.front().after.state.winding_c, rig_.coil.ambient_c);
}

TEST_F(HandTaps, AreRefusedOverTheLimitOfAPulse) {
  HandTapper& tapper = this->tapper();
  try {
    (void)tapper.tap(rig_.limits.max_pulse + 1ns, 100ms);
    FAIL() << "a pulse over the limit was given";
  } catch (const base::RigFault& fault) {
    EXPECT_THAT(fault.what(), HasSubstr("would fit"));
  }
  EXPECT_TRUE(fired_.empty());
}

TEST_F(HandTaps, WaitWhereTheCoilMustRest) {
  rig_.limits.duty_percent = 1.2;
  rig_.limits.duty_span = 2s;
  rig_.limits.max_on_in_span = 2s;
  rig_.limits.max_pulse = 20ms;
  HandTapper& tapper = this->tapper();
  std::vector<base::Pulse> given;
  for (int i = 0; i < 6; ++i) given.push_back(tapper.tap(11500us, 0ms)->actual);
  for (std::size_t i = 2; i < given.size(); ++i) {
    EXPECT_GE(given[i].off() - given[i - 2].on, 1900ms) << "more than 20 ms within 2 s";
  }
}

TEST_F(HandTaps, AreNotGivenOnceSomebodyStops) {
  HandTapper& tapper = this->tapper();
  stopped_ = true;
  EXPECT_FALSE(tapper.tap(11500us, 100ms));
}

}  // namespace
}  // namespace plexor::run
