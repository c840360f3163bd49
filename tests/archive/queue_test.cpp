#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <thread>

#include "archive/bench.hpp"
#include "archive/queue.hpp"
#include "base/error.hpp"

// What a queue promises, on each engine.

namespace plexor::archive {
namespace {

using namespace std::chrono_literals;
using testing::ElementsAre;
using testing::IsEmpty;

const Claimant north{"north", "oak counter"};
const Claimant south{"south", "granite slab"};

/// An archive with a queue; a claim by `who` must be there.
struct Lab {
  Archive archive{fresh_archive()};
  Queue queue{archive};

  std::int64_t add(const NewWork& work) { return queue.add({work}).front(); }
  Claim claim(const Claimant& who, std::chrono::milliseconds lease = 1min) {
    return queue.claim(who, lease).value();
  }
  /// What `who` had in hand until its lease ended.
  Claim claim_and_lose(const Claimant& who) {
    const Claim lost = claim(who, 1ms);
    std::this_thread::sleep_for(20ms);
    return lost;
  }
  WorkItem only_item() {
    const auto items = queue.list();
    EXPECT_EQ(items.size(), 1U);
    return items.at(0);
  }
};

TEST(Queue, GivesTheMostUrgentFirstAndElseTheFirst) {
  Lab lab;
  lab.queue.add({{"a", "text a"},
                 {"b", "text b"},
                 {.scenario = "c", .scenario_text = "text c", .priority = 1}});
  std::vector<std::string> order;
  while (const auto claim = lab.queue.claim(north, 1min)) order.push_back(claim->scenario_text);
  EXPECT_THAT(order, ElementsAre("text c", "text a", "text b"));
}

TEST(Queue, GivesARigOnlyWhatItMayDo) {
  Lab lab;
  lab.add({.scenario = "a", .scenario_text = "", .rig = "south"});
  lab.add({.scenario = "b", .scenario_text = "", .surface = "granite slab"});
  EXPECT_EQ(lab.queue.open_for(north), 0U);
  EXPECT_EQ(lab.queue.claim(north, 1min), std::nullopt);
  EXPECT_EQ(lab.queue.open_for(south), 2U);
  EXPECT_EQ(lab.claim(south).scenario, "a");
  EXPECT_EQ(lab.claim(south).scenario, "b");
}

TEST(Queue, AnItemInHandIsNobodyElses) {
  Lab lab;
  lab.add({"a", ""});
  lab.claim(north);
  EXPECT_EQ(lab.queue.claim(south, 1min), std::nullopt);
  EXPECT_EQ(lab.queue.open_for(south), 1U) << "north may be lost";
}

TEST(Queue, ALostRigsItemIsClaimedAgain) {
  Lab lab;
  lab.add({"a", ""});
  const Claim lost = lab.claim_and_lose(north);
  const Claim again = lab.claim(south);
  EXPECT_EQ(again.item, lost.item);
  EXPECT_GT(again.attempt, lost.attempt);
  EXPECT_FALSE(lab.queue.renew(lost, 1min));
  EXPECT_EQ(lab.only_item().claimed_by, "south");
}

TEST(Queue, AHeartbeatKeepsTheItem) {
  Lab lab;
  lab.add({"a", ""});
  const Claim claim = lab.claim(north, 1ms);
  EXPECT_TRUE(lab.queue.renew(claim, 1min));
  std::this_thread::sleep_for(20ms);
  EXPECT_EQ(lab.queue.claim(south, 1min), std::nullopt);
}

TEST(Queue, RecordsTheRunWithTheItem) {
  Lab lab;
  lab.add({"a", ""});
  EXPECT_EQ(lab.queue.finish(lab.claim(north), plain_run("run")), Finish::recorded);
  EXPECT_EQ(lab.only_item().state, WorkState::recorded);
  EXPECT_EQ(lab.only_item().run_id, "run");
  EXPECT_EQ(lab.archive.find({}).size(), 1U);
  EXPECT_EQ(lab.queue.open_for(north), 0U);
}

TEST(Queue, ALateResultIsRefusedWhereAnotherIsRecorded) {
  Lab lab;
  lab.add({"a", ""});
  const Claim late = lab.claim_and_lose(north);
  EXPECT_EQ(lab.queue.finish(lab.claim(south), plain_run("south's")), Finish::recorded);
  EXPECT_EQ(lab.queue.finish(late, plain_run("north's")), Finish::recorded_already);
  EXPECT_EQ(lab.only_item().run_id, "south's");
  EXPECT_THAT(lab.archive.find({}), ElementsAre(plain_run("south's")));
}

TEST(Queue, ALateResultIsRefusedWhileAnotherIsAtIt) {
  Lab lab;
  lab.add({"a", ""});
  const Claim late = lab.claim_and_lose(north);
  const Claim now = lab.claim(south);
  EXPECT_EQ(lab.queue.finish(late, plain_run("north's")), Finish::lease_lost);
  lab.queue.give_back(late);
  lab.queue.refuse(late, "no reason");
  EXPECT_EQ(lab.only_item().state, WorkState::claimed);
  EXPECT_THAT(lab.archive.find({}), IsEmpty());
  EXPECT_EQ(lab.queue.finish(now, plain_run("south's")), Finish::recorded);
}

TEST(Queue, ALateResultIsTakenWhereNobodyElseCame) {
  Lab lab;
  lab.add({"a", ""});
  const Claim late = lab.claim_and_lose(north);
  EXPECT_EQ(lab.queue.finish(late, plain_run("run")), Finish::recorded);
}

TEST(Queue, AResultThatIsToldTwiceIsRecordedOnce) {
  Lab lab;
  lab.add({"a", ""});
  const Claim claim = lab.claim(north);
  EXPECT_EQ(lab.queue.finish(claim, plain_run("run")), Finish::recorded);
  EXPECT_EQ(lab.queue.finish(claim, plain_run("run")), Finish::recorded);
  EXPECT_EQ(lab.queue.finish(claim, plain_run("another")), Finish::recorded_already);
  EXPECT_EQ(lab.archive.find({}).size(), 1U);
}

TEST(Queue, TakesAnItemBackAtOnce) {
  Lab lab;
  lab.add({"a", ""});
  lab.queue.give_back(lab.claim(north));
  EXPECT_EQ(lab.claim(south).attempt, 2);
}

TEST(Queue, ARefusedItemIsNobodysAnyMore) {
  Lab lab;
  lab.add({"a", ""});
  lab.queue.refuse(lab.claim(north), "an unknown key");
  EXPECT_EQ(lab.queue.claim(south, 1min), std::nullopt);
  EXPECT_EQ(lab.queue.open_for(south), 0U);
  EXPECT_EQ(lab.only_item().reason, "an unknown key");
  EXPECT_EQ(lab.only_item().state, WorkState::refused);
}

TEST(Queue, ListsWhatIsInIt) {
  Lab lab;
  lab.add({.scenario = "night watch",
           .scenario_text = "",
           .rig = "north",
           .surface = "oak counter",
           .priority = -3});
  const WorkItem waiting = lab.only_item();
  EXPECT_EQ(waiting.work.scenario, "night watch");
  EXPECT_EQ(waiting.work.rig, "north");
  EXPECT_EQ(waiting.work.surface, "oak counter");
  EXPECT_EQ(waiting.work.priority, -3);
  EXPECT_EQ(waiting.state, WorkState::waiting);
  EXPECT_EQ(waiting.lease, std::nullopt);
  lab.claim(north, 1min);
  const WorkItem claimed = lab.only_item();
  EXPECT_EQ(claimed.attempts, 1);
  EXPECT_EQ(claimed.claimed_by, "north");
  EXPECT_LE(claimed.lease, 1min);
  EXPECT_GT(claimed.lease, 30s);
}

TEST(Queue, ARunThatIsRecordedCanStillBeReplaced) {
  Lab lab;
  lab.add({"a", ""});
  EXPECT_EQ(lab.queue.finish(lab.claim(north), plain_run("run")), Finish::recorded);
  auto judged_anew = plain_run("run");
  judged_anew.headline = "better";
  EXPECT_EQ(lab.archive.import(judged_anew), Imported::replaced);
  EXPECT_EQ(lab.only_item().run_id, "run");
}

TEST(Queue, AnItemThatSomebodyDeletedIsTold) {
  Lab lab;
  EXPECT_THROW((void)lab.queue.renew({.item = 7, .attempt = 1}, 1min), base::RigFault);
}

}  // namespace
}  // namespace plexor::archive
