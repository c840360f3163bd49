#include "run/capture.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numeric>

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr base::TrialId trial{1, 7, 0};
constexpr base::Instant at(base::Duration since_start) { return base::Instant{since_start}; }

/// A channel that streams 1000 samples a second; each value is its own number.
class Stream {
 public:
  explicit Stream(std::uint32_t channel = 0) : channel_(channel) {}

  rig::SamplesHeard next(int count) {
    rig::SamplesHeard samples{channel_, at(next_ * 1ms), 1ms, {}};
    samples.values.resize(static_cast<std::size_t>(count));
    std::iota(samples.values.begin(), samples.values.end(), next_);
    next_ += count;
    return samples;
  }
  void lose(int count) { next_ += count; }

 private:
  std::uint32_t channel_;
  int next_ = 0;
};

void feed(Capture& capture, Stream& stream, int count) {
  while (count > 0) {
    capture.take(stream.next(std::min(count, 32)));
    count -= 32;
  }
}

const journal::Waveform& wave(const journal::WaveRecord& record) {
  return std::get<journal::Waveform>(record);
}

TEST(Capture, KeepsALeadBeforeTheFirstContactAndATailAfterTheLast) {
  Capture capture(1);
  Stream stream;
  feed(capture, stream, 4000);
  capture.begin(trial, base::TrialKind::rhythm, at(5s));
  feed(capture, stream, 6000);
  const auto records = capture.finish(at(5190ms));
  ASSERT_THAT(records, SizeIs(1));
  EXPECT_EQ(wave(records[0]).trial, trial);
  EXPECT_EQ(wave(records[0]).first, at(4900ms));
  EXPECT_EQ(wave(records[0]).values.front(), 4900);
  EXPECT_EQ(wave(records[0]).values.back(), 6189);
}

TEST(Capture, TheLeadIsThereThoughTheTrialIsPlannedShortlyBefore) {
  Capture capture(1);
  Stream stream;
  feed(capture, stream, 4992);
  capture.begin(trial, base::TrialKind::rhythm, at(5s));
  feed(capture, stream, 1024);
  EXPECT_EQ(wave(capture.finish(at(5s)).at(0)).first, at(4900ms));
}

TEST(Capture, AfterAGapOnlyWhatFollowsItIsKept) {
  Capture capture(1);
  Stream stream;
  feed(capture, stream, 5056);
  capture.begin(trial, base::TrialKind::rhythm, at(5s));
  stream.lose(10);
  feed(capture, stream, 512);
  const auto records = capture.finish(at(5s));
  EXPECT_EQ(wave(records.at(0)).first, at(5066ms));
  EXPECT_THAT(wave(records.at(0)).values, SizeIs(512));
}

TEST(Capture, ChannelsAreKeptApartAndASilentOneGivesNothing) {
  Capture capture(3);
  Stream first(0);
  Stream third(2);
  capture.begin(trial, base::TrialKind::rhythm, at(0s));
  feed(capture, first, 320);
  feed(capture, third, 640);
  const auto records = capture.finish(at(100ms));
  ASSERT_THAT(records, SizeIs(2));
  EXPECT_EQ(wave(records[0]).channel, 0U);
  EXPECT_EQ(wave(records[1]).channel, 2U);
  EXPECT_THAT(wave(records[1]).values, SizeIs(640));
}

TEST(Capture, OfQuietTheOutermostValuesOfEachBinAreKept) {
  Capture capture(1);
  Stream stream;
  feed(capture, stream, 960);
  capture.begin(trial, base::TrialKind::quiet, at(1s));
  feed(capture, stream, 640);
  const auto records = capture.finish(at(1600ms));
  ASSERT_THAT(records, SizeIs(1));
  const auto& quiet = std::get<journal::QuietEnvelope>(records[0]);
  EXPECT_EQ(quiet.first, at(1s));
  EXPECT_EQ(quiet.bin, Capture::bin);
  ASSERT_THAT(quiet.lowest, SizeIs(60));
  EXPECT_EQ(quiet.lowest[59], 1590);
  EXPECT_EQ(quiet.highest[59], 1599);
}

TEST(Capture, ATrialAfterQuietHasItsLead) {
  Capture capture(1);
  Stream stream;
  capture.begin(trial, base::TrialKind::quiet, at(0s));
  feed(capture, stream, 3200);
  (void)capture.finish(at(3200ms));
  capture.begin(trial, base::TrialKind::rhythm, at(3210ms));
  feed(capture, stream, 96);
  EXPECT_EQ(wave(capture.finish(at(3210ms)).at(0)).first, at(3110ms));
}

TEST(Capture, AClockThatIsKnownBetterMovesWhatCameBefore) {
  Capture capture(1);
  Stream stream;
  capture.begin(trial, base::TrialKind::rhythm, at(200ms));
  base::Duration later{};
  for (int i = 0; i < 10; ++i) {
    rig::SamplesHeard samples = stream.next(50);
    samples.first += later += 300us;
    capture.take(samples);
  }
  const auto records = capture.finish(at(200ms));
  ASSERT_THAT(records, SizeIs(1));
  EXPECT_EQ(wave(records[0]).values.front(), 100);
  EXPECT_EQ(wave(records[0]).first, at(103ms));
}

TEST(Capture, AfterAGapInQuietAnotherEnvelopeBegins) {
  Capture capture(1);
  Stream stream;
  capture.begin(trial, base::TrialKind::quiet, at(0s));
  feed(capture, stream, 320);
  stream.lose(500);
  feed(capture, stream, 320);
  const auto records = capture.finish(at(2s));
  ASSERT_THAT(records, SizeIs(2));
  const auto& second = std::get<journal::QuietEnvelope>(records[1]);
  EXPECT_EQ(second.first, at(820ms));
  EXPECT_EQ(second.lowest.front(), 820);
  EXPECT_THAT(second.lowest, SizeIs(32));
}

TEST(Capture, GivesNothingWithoutATrialOrSamples) {
  Capture capture(1);
  EXPECT_THAT(capture.finish(at(1s)), IsEmpty());
  capture.begin(trial, base::TrialKind::rhythm, at(1s));
  EXPECT_THAT(capture.finish(at(1s)), IsEmpty());
}

}  // namespace
}  // namespace plexor::run
