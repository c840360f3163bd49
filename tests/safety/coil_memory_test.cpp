#include "safety/coil_memory.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cstdio>

#include "example_tapper.hpp"

namespace plexor::safety {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;

constexpr double limit_c = 90.0;  // of the example: 105 less its margin of 15

CoilMemory warm_memory() {
  return {.past = {{70.5, 50.25}, 40s, 5s},
          .at = {"this-boot", 1000s},
          .ended_in_order = true,
          .taps = 1234};
}

CoilNow recalled(std::string_view text, const BootMoment& now) {
  return recall(text, now, example_limits(), example_coil());
}

/// The text with one passage changed and the mark of its own, as another version might write it.
std::string written_otherwise(const std::string& passage, const std::string& instead) {
  std::string text = to_text(warm_memory());
  text.resize(text.rfind("mark = "));
  text.replace(text.find(passage), passage.size(), instead);
  std::uint64_t mark = 14695981039346656037U;
  for (const char byte : text) mark = (mark ^ static_cast<unsigned char>(byte)) * 1099511628211U;
  std::array<char, 17> digits{};
  std::snprintf(digits.data(), digits.size(), "%016llx", static_cast<unsigned long long>(mark));
  return text + "mark = \"" + digits.data() + "\"\n";
}

void expect_hot(const CoilNow& now) {
  EXPECT_DOUBLE_EQ(now.past.state.winding_c, limit_c);
  EXPECT_DOUBLE_EQ(now.past.state.body_c, limit_c);
  EXPECT_EQ(now.past.on_in_span, allowed_on_in_span(example_limits()));
  EXPECT_EQ(now.past.since_last_off, 0s);
  EXPECT_FALSE(now.taken_as_hot.empty());
}

/// No cooler than the truth, and with no less of the duty used up.
void expect_no_cooler(const CoilPast& past, const CoilPast& truth) {
  ASSERT_GE(past.state.winding_c, truth.state.winding_c);
  ASSERT_GE(past.state.body_c, truth.state.body_c);
  ASSERT_GE(past.on_in_span, truth.on_in_span);
  ASSERT_LE(past.since_last_off, truth.since_last_off);
}

TEST(CoilMemory, ComesBackAsItWasKept) {  // [S67]
  const CoilMemory kept = warm_memory();
  const CoilNow now = recalled(to_text(kept), kept.at);
  EXPECT_DOUBLE_EQ(now.past.state.winding_c, 70.5);
  EXPECT_DOUBLE_EQ(now.past.state.body_c, 50.25);
  EXPECT_EQ(now.past.on_in_span, 40s);
  EXPECT_EQ(now.past.since_last_off, 5s);
  EXPECT_EQ(now.taps, 1234U);
  EXPECT_THAT(now.taken_as_hot, IsEmpty());
}

TEST(CoilMemory, WhatIsNotKnownIsHotWithItsDutyUsedUp) {  // [S67]
  const CoilNow now = recalled("", {"this-boot", 2000s});
  expect_hot(now);
  EXPECT_THAT(now.taken_as_hot, HasSubstr("nothing is known"));
}

TEST(CoilMemory, WhatCannotBeReadIsHot) {  // [S67]
  const std::string whole = to_text(warm_memory());
  for (const std::string& text :
       {std::string("\0\xff\xfe garbage", 11), std::string("format = 1\n"), std::string(4096, 'x'),
        whole + whole, whole + "\n"}) {
    const CoilNow now = recalled(text, {"this-boot", 5000s});
    expect_hot(now);
    EXPECT_THAT(now.taken_as_hot, HasSubstr("can't be read"));
    EXPECT_EQ(now.taps, 0U);
  }
}

TEST(CoilMemory, WhatANewerVersionWroteOrNoVersionWouldWriteIsHot) {  // [S67]
  const BootMoment now = {"this-boot", 5000s};
  EXPECT_THAT(recalled(written_otherwise("taps = 1234", "taps = 1235"), now).taken_as_hot,
              IsEmpty());
  expect_hot(recalled(written_otherwise("format = 1", "format = 2"), now));
  expect_hot(recalled(written_otherwise("taps =", "more = 1\ntaps ="), now));
  expect_hot(recalled(written_otherwise("winding_c = 70.500", "winding_c = nan"), now));
  expect_hot(recalled(written_otherwise("winding_c = 70.500", "winding_c = -273.0"), now));
  expect_hot(recalled(written_otherwise("on_in_span_s = 40", "on_in_span_s = -40"), now));
  expect_hot(recalled(written_otherwise("since_last_off_s = 5", "since_last_off_s = 1e30"), now));
}

TEST(CoilMemory, ARunThatDidNotEndInOrderLeavesAHotCoilThatCoolsFromThen) {  // [S67]
  CoilMemory kept = warm_memory();
  kept.ended_in_order = false;
  const CoilNow at_once = recalled(to_text(kept), kept.at);
  expect_hot(at_once);
  EXPECT_EQ(at_once.taps, 1234U);
  EXPECT_THAT(at_once.taken_as_hot, HasSubstr("did not end in order"));

  const CoilNow later = recalled(to_text(kept), {"this-boot", 1060s});
  const CoilState cooled = after(example_coil(), {limit_c, limit_c}, 60s, false);
  EXPECT_DOUBLE_EQ(later.past.state.winding_c, cooled.winding_c);
  EXPECT_DOUBLE_EQ(later.past.state.body_c, cooled.body_c);
  EXPECT_EQ(later.past.since_last_off, 60s);
  EXPECT_EQ(later.past.on_in_span, allowed_on_in_span(example_limits()));
}

TEST(CoilMemory, ATextThatDoesNotSayHowItEndedDidNotEndInOrder) {  // [S67]
  const CoilNow now =
      recalled(written_otherwise("ended_in_order = true\n", ""), {"this-boot", 1000s});
  expect_hot(now);
}

TEST(CoilMemory, WhatWasHotterThanTheLimitIsNotMadeCoolerByNotEndingInOrder) {  // [S67]
  CoilMemory kept = warm_memory();
  kept.past = {{130.0, 95.0}, 80s, 0s};
  kept.ended_in_order = false;
  expect_no_cooler(recalled(to_text(kept), kept.at).past, kept.past);
}

TEST(CoilMemory, WithinOneBootItCoolsByTheTimeSince) {  // [S67]
  const CoilNow now = recalled(to_text(warm_memory()), {"this-boot", 1030s});
  const CoilState cooled = after(example_coil(), {70.5, 50.25}, 30s, false);
  EXPECT_DOUBLE_EQ(now.past.state.winding_c, cooled.winding_c);
  EXPECT_DOUBLE_EQ(now.past.state.body_c, cooled.body_c);
  EXPECT_EQ(now.past.since_last_off, 35s);
  EXPECT_EQ(now.past.on_in_span, 40s);
}

TEST(CoilMemory, AfterARestartItCoolsByTheTimeSinceTheRestartOnly) {  // [S67]
  // This boot is 20 s old; the other one had counted to 1000 s.
  const CoilNow now = recalled(to_text(warm_memory()), {"another-boot", 20s});
  const CoilState cooled = after(example_coil(), {70.5, 50.25}, 20s, false);
  EXPECT_DOUBLE_EQ(now.past.state.winding_c, cooled.winding_c);
  EXPECT_EQ(now.past.since_last_off, 25s);
}

TEST(CoilMemory, AClockThatWentBackCoolsNothing) {  // [S67]
  const CoilNow now = recalled(to_text(warm_memory()), {"this-boot", 10s});
  EXPECT_DOUBLE_EQ(now.past.state.winding_c, 70.5);
  EXPECT_EQ(now.past.since_last_off, 5s);
}

TEST(CoilMemory, NoCutTextIsCoolerThanTheTruth) {  // [S67]
  const std::string text = to_text(warm_memory());
  for (std::size_t length = 0; length < text.size(); ++length) {
    const CoilNow now = recalled(text.substr(0, length), {"this-boot", 1010s});
    expect_hot(now);
  }
}

TEST(CoilMemory, NoTextWithABitFlippedIsCoolerThanTheTruth) {  // [S67]
  const BootMoment now = {"this-boot", 100'000s};  // what a changed boot would make of it is cold
  CoilMemory kept = warm_memory();
  kept.at.since_boot = 99'999s;
  const std::string recent = to_text(kept);
  const CoilPast truth = recalled(recent, now).past;
  for (std::size_t at = 0; at < recent.size(); ++at) {
    for (unsigned bit = 0; bit < 8; ++bit) {
      std::string flipped = recent;
      flipped[at] = static_cast<char>(static_cast<unsigned char>(flipped[at]) ^ (1U << bit));
      expect_no_cooler(recalled(flipped, now).past, truth);
    }
  }
}

TEST(CoilMemory, WhatIsRememberedIsRefusedWhereAFreshCoilWouldPass) {  // [S67]
  const base::Instant start = base::segment_start;
  const std::array pulses{base::Pulse{start + 1s, 20ms}};
  const auto refusal_after = [&](const CoilPast& past) {
    return PulseCheck(example_limits(), example_coil(), past, start).check(pulses);
  };
  EXPECT_FALSE(refusal_after({cold(example_coil())}));
  EXPECT_TRUE(refusal_after(recalled("", {"this-boot", 2000s}).past));

  CoilMemory used_up = warm_memory();
  used_up.past = {cold(example_coil()), allowed_on_in_span(example_limits()), 0s};
  const auto duty = refusal_after(recalled(to_text(used_up), used_up.at).past);
  ASSERT_TRUE(duty);
  EXPECT_EQ(duty->limit, "duty");

  CoilMemory warm = warm_memory();
  warm.past = {{limit_c - 0.01, limit_c - 0.01}, 0s, 10s};
  const auto heat = refusal_after(recalled(to_text(warm), warm.at).past);
  ASSERT_TRUE(heat);
  EXPECT_EQ(heat->limit, "coil temperature");

  CoilMemory just_now = warm_memory();
  just_now.past = {cold(example_coil()), 1s, 0s};
  const auto now = recalled(to_text(just_now), just_now.at).past;
  const std::array at_once{base::Pulse{start + 20ms, 20ms}};
  const auto rest = PulseCheck(example_limits(), example_coil(), now, start).check(at_once);
  ASSERT_TRUE(rest);
  EXPECT_EQ(rest->limit, "rest");
}

}  // namespace
}  // namespace plexor::safety
