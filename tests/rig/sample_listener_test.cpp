#include "rig/sample_listener.hpp"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <mutex>

#include "base/error.hpp"
#include "rig/check_channel.hpp"
#include "rig/temporary_folder.hpp"
#include "rig/told.hpp"
#include "virtual/voices/channel_voice.hpp"
#include "virtual/voices/pseudo_port.hpp"

// Senders of samples that a test plays, on a pseudo-terminal, in a file and through a FIFO.

namespace plexor::rig {
namespace {

namespace fs = std::filesystem;
using namespace std::chrono_literals;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

class SampleListenerTest : public ::testing::Test {
 protected:
  SampleListenerTest() : folder_(make_temporary_folder("samples")) {}
  ~SampleListenerTest() override {
    listener_.reset();
    fs::remove_all(folder_);
  }

  [[nodiscard]] std::string path() const { return (folder_ / "samples").string(); }
  [[nodiscard]] Channel by_port(SampleLine line = SampleLine::value) const {
    return {.name = "converter",
            .rate_hz = 1000,
            .lowest = 0,
            .highest = 4095,
            .source = {.way = SerialSettings{.port = path()}, .line = line}};
  }
  [[nodiscard]] Channel by_file() const {
    Channel channel = by_port();
    channel.source.way = SampleFile{path()};
    return channel;
  }
  void hear(const Channel& channel) {
    listener_ = std::make_unique<SampleListener>(
        channel, SampleHearers{.samples =
                                   [this](SampleChunk chunk) {
                                     const std::scoped_lock lock(mutex_);
                                     chunks_.push_back(std::move(chunk));
                                   },
                               .remark = told_.hearers().remark});
  }
  [[nodiscard]] std::vector<SampleChunk> chunks() {
    const std::scoped_lock lock(mutex_);
    return chunks_;
  }
  [[nodiscard]] std::vector<std::int32_t> values() {
    std::vector<std::int32_t> all;
    for (const SampleChunk& chunk : chunks()) {
      all.insert(all.end(), chunk.values.begin(), chunk.values.end());
    }
    return all;
  }
  void expect_values(const std::vector<std::int32_t>& expected) {
    EXPECT_TRUE(comes_true([&] { return values() == expected; }))
        << ::testing::PrintToString(values()) << told_.all_remarks();
  }
  static void append(const std::string& to, const std::string& text) {
    std::ofstream(to, std::ios::app) << text;
  }

  fs::path folder_;
  Told told_;
  std::mutex mutex_;
  std::vector<SampleChunk> chunks_;
  std::unique_ptr<SampleListener> listener_;
};

TEST_F(SampleListenerTest, HearsAPortWithTheInstantsOfItsSamples) {
  virtual_rig::PseudoPort port(path());
  hear(by_port());
  port.write_line("rest of a line");
  const lines::KernelInstant before = lines::kernel_now();
  for (int i = 0; i < 200; ++i) {
    lines::kernel_sleep_until(before + (i + 1) * 1ms);
    port.write_line(std::to_string(i));
  }
  EXPECT_TRUE(comes_true([&] { return values().size() == 200; })) << told_.all_remarks();
  const auto all = chunks();
  const auto& last = all.back();
  const lines::KernelInstant should = before + (last.values.front() + 1) * 1ms;
  constexpr base::Duration held_up = 20ms;  // a busy machine's writer or reader, all the time
  EXPECT_GE(last.first, should - held_up);
  EXPECT_LE(last.first, should + held_up);
  EXPECT_GT(listener_->uncertainty(), 0ns);
  EXPECT_THAT(told_.remarks(), IsEmpty());
}

TEST_F(SampleListenerTest, BearsWhatIsNoSampleAndSaysSo) {
  virtual_rig::PseudoPort port(path());
  hear(by_port());
  for (const char* line : {"cut", "boot", "12", "13.5", "5000", "14"}) port.write_line(line);
  port.write_line(std::string(200, '9'));
  port.write_line("15");
  expect_values({12, 5000, 14, 15});
  EXPECT_THAT(told_.all_remarks(), HasSubstr("no sample, 1 so far; the last is \"boot\""));
  EXPECT_THAT(told_.all_remarks(), HasSubstr("not within 0 to 4095"));
}

TEST_F(SampleListenerTest, AFloodIsCappedAndSaid) {
  virtual_rig::PseudoPort port(path());
  hear(by_port());
  std::string flood;
  for (int i = 0; i < 50'000; ++i) flood += "1\n";
  for (std::string_view left = flood; !left.empty();) {
    const std::size_t sent = port.write(left);
    if (sent == 0) lines::kernel_nap(100us);
    left.remove_prefix(sent);
  }
  told_.expect_remark("more than twice 1000 samples a second");
  EXPECT_TRUE(comes_true([&] { return values().size() > 1000; }));
  listener_.reset();
  EXPECT_LT(values().size(), 30'000U);
  for (const SampleChunk& chunk : chunks()) EXPECT_LE(chunk.values.size(), 50U);
}

TEST_F(SampleListenerTest, AnUnpluggedPortIsFoundAgain) {
  auto port = std::make_unique<virtual_rig::PseudoPort>(path());
  hear(by_port(SampleLine::time_and_value));
  port->write_line("cut");
  port->write_line("0.000,1");
  expect_values({1});
  port.reset();
  told_.expect_remark("is gone");
  port = std::make_unique<virtual_rig::PseudoPort>(path());
  told_.expect_remark("is back");
  port->write_line("cut");
  port->write_line("0.000,2");
  expect_values({1, 2});
}

TEST_F(SampleListenerTest, FollowsAFileFromItsEndAndANewOneFromItsBegin) {
  append(path(), "1\n2\n");
  hear(by_file());
  append(path(), "cut\n3\n4");
  append(path(), "5\n");
  expect_values({3, 45});
  append(folder_ / "next", "6\n");
  fs::rename(folder_ / "next", path());
  expect_values({3, 45, 6});
  fs::resize_file(path(), 0);
  told_.expect_remark("is back");
  EXPECT_TRUE(comes_true([&] {
    append(path(), "7\n");
    return values().size() > 3;
  }));
  EXPECT_EQ(values().back(), 7);
}

TEST_F(SampleListenerTest, HearsAFifoAcrossItsWriters) {
  ASSERT_EQ(mkfifo(path().c_str(), 0600), 0);
  hear(by_file());
  append(path(), "cut\n1\n");
  expect_values({1});
  append(path(), "2\n");
  expect_values({1, 2});
  EXPECT_THROW(SampleListener(by_file(), {.samples = [](const SampleChunk&) {}}), base::RigFault)
      << "two would each hear half";
}

TEST_F(SampleListenerTest, SilenceIsSaidAndItsEndIsAtOnce) {
  virtual_rig::PseudoPort port(path());
  hear(by_port());
  told_.expect_remark("sends no samples");
  const lines::KernelInstant before = lines::kernel_now();
  listener_.reset();
  EXPECT_LT(lines::kernel_now() - before, 500ms);
}

TEST_F(SampleListenerTest, WhatIsNotThereIsAFault) {
  EXPECT_THROW(hear(by_port()), base::RigFault);
  EXPECT_THROW(hear(by_file()), base::RigFault);
  Channel folder = by_file();
  folder.source.way = SampleFile{folder_.string()};
  EXPECT_THROW(hear(folder), base::RigFault);
}

TEST_F(SampleListenerTest, ACheckFindsSamplesAtTheirRateOrNone) {
  const auto missing = check_channel(by_port());
  ASSERT_THAT(missing, ::testing::SizeIs(1));
  EXPECT_EQ(missing[0].state, Finding::State::bad);
  virtual_rig::PseudoPort port(path());
  std::atomic<bool> over = false;
  std::thread sender([&] {
    for (lines::KernelInstant at = lines::kernel_now(); !over; at += 1ms) {
      lines::kernel_sleep_until(at);
      port.write_line("2048");
    }
  });
  auto found = check_channel(by_port());
  // Held up by the machine, the sender makes up for it, too quickly.
  for (int again = 0; again < 4 && found.at(0).state != Finding::State::good; ++again) {
    found = check_channel(by_port());
  }
  Channel quicker = by_port();
  quicker.rate_hz = 2000;
  const auto slow = check_channel(quicker);
  over = true;
  sender.join();
  EXPECT_EQ(found.at(0).state, Finding::State::good) << found[0].found;
  EXPECT_THAT(found[0].found, HasSubstr("2048 to 2048"));
  EXPECT_EQ(slow.at(0).state, Finding::State::bad);
  EXPECT_THAT(slow[0].found, HasSubstr("the rig file says 2000"));
}

TEST_F(SampleListenerTest, ASimulatedChannelLosesWholeLinesWhenNobodyReads) {
  virtual_rig::ChannelVoice voice(path(), SampleLine::time_and_value);
  hear(by_port(SampleLine::time_and_value));
  rig::SamplesHeard samples{0, base::segment_start, 1ms, std::vector<std::int32_t>(40'000, 2048)};
  voice.stream(samples);
  samples.first += 50s;
  samples.values = {1};
  for (int i = 0; i < 20; ++i) {
    voice.stream(samples);
    samples.first += 1ms;
    lines::kernel_nap(2ms);
  }
  EXPECT_TRUE(comes_true([&] { return !values().empty() && values().back() == 1; }));
  EXPECT_EQ(told_.count_remarks("no sample"), 0U) << told_.all_remarks();
}

}  // namespace
}  // namespace plexor::rig
