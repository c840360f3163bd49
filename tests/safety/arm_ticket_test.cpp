#include "safety/arm_ticket.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

const BootMoment now{"this-boot", 1000s};

ArmTicket ticket() {
  return {.rig = "oak", .boot_id = "this-boot", .user = 1000, .ends_since_boot = 4600s};
}

std::string refusal(const std::string& text) {
  return check_ticket(text, "oak", 1000, now).refusal;
}

std::string refusal(const ArmTicket& one) { return refusal(to_text(one)); }

TEST(ArmTicket, GivesLeaveToItsEndForRigsOfAnyName) {  // [S66]
  for (const std::string name : {"oak", "a \"quoted\" bench", "back\\slash", "tr\xc3\xa4ger # 1",
                                 "x\" \nuser = 0 \"", "= [table] '''"}) {
    if (name.find('\n') != std::string::npos) continue;  // no rig file has such a name
    ArmTicket given = ticket();
    given.rig = name;
    const TicketCheck check = check_ticket(to_text(given), name, 1000, now);
    EXPECT_THAT(check.refusal, IsEmpty()) << name;
    EXPECT_EQ(check.ends_since_boot, 4600s) << name;
  }
}

TEST(ArmTicket, HoldsForOneRigOneUserAndOneBoot) {  // [S66]
  ArmTicket other_rig = ticket();
  other_rig.rig = "granite";
  EXPECT_THAT(refusal(other_rig), HasSubstr("another rig"));
  ArmTicket other_user = ticket();
  other_user.user = 0;
  EXPECT_THAT(refusal(other_user), HasSubstr("another user"));
  ArmTicket other_boot = ticket();
  other_boot.boot_id = "that-boot";
  EXPECT_THAT(refusal(other_boot), HasSubstr("reboot"));
}

TEST(ArmTicket, HoldsToItsEndAndNotAMomentLonger) {  // [S66]
  ArmTicket given = ticket();
  given.ends_since_boot = now.since_boot + 1ms;
  EXPECT_THAT(refusal(given), IsEmpty());
  given.ends_since_boot = now.since_boot;
  EXPECT_THAT(refusal(given), HasSubstr("ended"));
  given.ends_since_boot = now.since_boot - 1s;
  EXPECT_THAT(refusal(given), HasSubstr("ended"));
}

TEST(ArmTicket, WhatCannotBeReadGivesNoLeave) {  // [S66]
  std::string newer = to_text(ticket());
  newer.replace(newer.find("format = 1"), 10, "format = 2");
  std::string endless = to_text(ticket());
  endless.replace(endless.find("4600.000"), 8, "inf");
  for (const std::string& text :
       {std::string{}, std::string("\0\xff", 2), std::string(10'000, '['), newer, endless,
        to_text(ticket()) + "more = 1\n", to_text(ticket()) + to_text(ticket())}) {
    EXPECT_THAT(refusal(text), HasSubstr("can't be read")) << text.substr(0, 200);
  }
}

TEST(ArmTicket, ATornTicketGivesNoLongerLeave) {  // [S66]
  const std::string text = to_text(ticket());
  for (std::size_t length = 0; length < text.size(); ++length) {
    const TicketCheck check = check_ticket(text.substr(0, length), "oak", 1000, now);
    EXPECT_TRUE(!check.refusal.empty() || check.ends_since_boot <= 4600s) << length;
  }
}

}  // namespace
}  // namespace plexor::safety
