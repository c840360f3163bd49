#include "rig/line_listener.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <mutex>

#include "base/error.hpp"
#include "lines/line_bench.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using ::testing::HasSubstr;

constexpr std::uint32_t offset = 7;

class LineListenerTest : public ::testing::Test {
 protected:
  void listen(LineReport report, std::vector<std::string> events) {
    const LineSettings settings{.chip = bench_.chip(),
                                .wire = {offset},
                                .report = report,
                                .debounce = 2ms,
                                .pulse_gap = 150ms,
                                .events = std::move(events)};
    listener_ = std::make_unique<LineListener>("panel", settings,
                                               Hearers{.report =
                                                           [this](const Report& report_of) {
                                                             const std::scoped_lock lock(mutex_);
                                                             reports_.push_back(report_of);
                                                           },
                                                       .state = [](bool, KernelInstant) {},
                                                       .remark =
                                                           [this](const std::string& text) {
                                                             const std::scoped_lock lock(mutex_);
                                                             remarks_ += text;
                                                           }});
  }
  /// When it became active.
  KernelInstant pulse() {
    lines::kernel_nap(5ms);
    const KernelInstant at = lines::kernel_now();
    bench_.drive(offset, true);
    lines::kernel_nap(5ms);
    bench_.drive(offset, false);
    return at;
  }
  std::vector<Report> reports_after(base::Duration wait) {
    const KernelInstant give_up = lines::kernel_now() + wait;
    while (lines::kernel_now() < give_up) lines::kernel_nap(10ms);
    const std::scoped_lock lock(mutex_);
    return reports_;
  }
  std::string remarks() {
    const std::scoped_lock lock(mutex_);
    return remarks_;
  }

  lines::VirtualBench bench_;
  std::mutex mutex_;
  std::vector<Report> reports_;
  std::string remarks_;
  std::unique_ptr<LineListener> listener_;
};

TEST_F(LineListenerTest, AnEdgeIsAReportAtTheEdge) {
  listen(LineReport::edge, {"call"});
  const KernelInstant at = pulse();
  const auto reports = reports_after(300ms);
  ASSERT_EQ(reports.size(), 1U);
  EXPECT_EQ(reports[0].event, "call");
  EXPECT_GE(reports[0].at, at);
  EXPECT_LT(reports[0].at - at, 50ms);
}

TEST_F(LineListenerTest, TheNumberOfPulsesSaysWhichEvent) {
  listen(LineReport::pulses, {"call", "kiln"});
  pulse();
  const KernelInstant last = pulse();
  const auto reports = reports_after(500ms);
  ASSERT_EQ(reports.size(), 1U);
  EXPECT_EQ(reports[0].event, "kiln");
  EXPECT_GE(reports[0].at, last);
}

TEST_F(LineListenerTest, ACountWithoutANameIsSaid) {
  listen(LineReport::pulses, {"call"});
  pulse();
  pulse();
  EXPECT_TRUE(reports_after(500ms).empty());
  EXPECT_THAT(remarks(), HasSubstr("2 pulses"));
}

TEST_F(LineListenerTest, ALineThatSomebodyHoldsIsRefused) {
  const auto held = lines::request(bench_.chip(), {{.name = "other", .offset = offset}});
  EXPECT_THROW(listen(LineReport::edge, {"call"}), base::RigFault);
}

}  // namespace
}  // namespace plexor::rig
