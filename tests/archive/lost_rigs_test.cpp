#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/prctl.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <csignal>
#include <optional>
#include <random>
#include <set>
#include <thread>

#include "archive/bench.hpp"
#include "archive/queue.hpp"

// Four rigs at one queue, each killed at random, again and again; some only stand still for a
// while, and come late with what they had in hand.

namespace plexor::archive {
namespace {

using namespace std::chrono_literals;

constexpr std::size_t rigs = 4;
constexpr std::size_t items = 60;
constexpr auto lease = 250ms;
constexpr auto one_run = 40ms;

/// A rig's life: claims, taps for a while, records. Each result carries who made it.
void work_until_empty(const Address& address, const std::string& rig) {
  Archive archive(address);
  Queue queue(archive);
  const Claimant who{rig, "oak counter"};
  while (true) {
    const auto claim = queue.claim(who, lease);
    if (!claim && queue.open_for(who) == 0) return;
    std::this_thread::sleep_for(one_run);
    if (!claim) continue;
    const std::string run = std::to_string(claim->item) + "/" + std::to_string(claim->attempt);
    (void)queue.finish(*claim, plain_run(run));
  }
}

class Rig {
 public:
  Rig(const Address& address, std::string name) : address_(address), name_(std::move(name)) {
    begin();
  }
  ~Rig() { end(); }
  Rig(const Rig&) = delete;
  Rig& operator=(const Rig&) = delete;

  /// It is killed and begins again; or it stands still for a while, as a computer that swaps, and
  /// comes late with what it has in hand. True if it was killed.
  bool disturb(bool only_stop) {
    const auto now = std::chrono::steady_clock::now();
    if (stands_until_) {
      if (now >= *stands_until_) go_on();
      return false;
    }
    if (only_stop) {
      kill(process_, SIGSTOP);
      stands_until_ = now + lease + one_run;
      return false;
    }
    end();
    begin();
    return true;
  }
  void go_on() {
    if (stands_until_) kill(process_, SIGCONT);
    stands_until_.reset();
  }
  bool is_done() {
    int status = 0;
    if (process_ != 0 && waitpid(process_, &status, WNOHANG) != process_) return false;
    EXPECT_EQ(status, 0) << name_ << " failed";
    process_ = 0;
    return true;
  }

 private:
  void begin() {
    process_ = fork();
    if (process_ != 0) return;
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    try {
      work_until_empty(address_, name_);
    } catch (const std::exception& error) {
      (void)std::fprintf(stderr, "%s: %s\n", name_.c_str(), error.what());
      _exit(1);
    }
    _exit(0);
  }
  void end() {
    if (process_ == 0) return;
    kill(process_, SIGKILL);
    waitpid(process_, nullptr, 0);
    process_ = 0;
    stands_until_.reset();
  }

  const Address& address_;
  std::string name_;
  pid_t process_ = 0;
  std::optional<std::chrono::steady_clock::time_point> stands_until_{};
};

bool all_done(std::array<Rig, rigs>& lab) {
  std::size_t done = 0;
  for (Rig& rig : lab) done += rig.is_done() ? 1U : 0U;
  return done == rigs;
}

/// Returns how many rigs were killed. Not for ever: a slow machine is given time to end the work.
int disturb_until_done(std::array<Rig, rigs>& lab) {
  constexpr int most_killed = 40;
  const auto give_up = std::chrono::steady_clock::now() + 120s;
  std::mt19937_64 random(20260611);
  int killed = 0;
  while (!all_done(lab) && std::chrono::steady_clock::now() < give_up) {
    std::this_thread::sleep_for(std::chrono::milliseconds(30 + random() % 120));
    Rig& rig = lab.at(random() % rigs);
    const bool only_stop = random() % 3 == 0;
    if (killed == most_killed) {
      for (Rig& one : lab) one.go_on();
    } else if (!rig.is_done() && rig.disturb(only_stop)) {
      ++killed;
    }
  }
  return killed;
}

TEST(LostRigs, EveryItemIsRecordedExactlyOnceAndNoneIsForgotten) {
  const Address address = fresh_archive();
  {
    Archive archive(address);
    Queue(archive).add(
        std::vector<NewWork>(items, {.scenario = "night watch", .scenario_text = "text"}));
  }
  int killed = 0;
  {
    std::array<Rig, rigs> lab{{{address, "1"}, {address, "2"}, {address, "3"}, {address, "4"}}};
    killed = disturb_until_done(lab);
  }
  EXPECT_GE(killed, 5) << "too few to show anything";

  Archive archive(address);
  std::set<std::string> runs;
  std::int64_t tapped_again = 0;
  for (const WorkItem& item : Queue(archive).list()) {
    EXPECT_EQ(item.state, WorkState::recorded) << "item " << item.item << " was forgotten";
    EXPECT_EQ(item.run_id, std::to_string(item.item) + "/" + std::to_string(item.attempts))
        << "recorded by one that had lost it";
    runs.insert(item.run_id);
    tapped_again += item.attempts - 1;
  }
  EXPECT_EQ(runs.size(), items);
  EXPECT_EQ(archive.find({}).size(), items) << "a result that belongs to no item";
  EXPECT_GT(tapped_again, 0) << "no rig was lost with an item in hand";
}

}  // namespace
}  // namespace plexor::archive
