#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <mutex>
#include <string>
#include <string_view>
#include <vector>

#include "lines/lines.hpp"
#include "rig/hearers.hpp"

namespace plexor::rig {

/// Waits until it is so; false if it is not in 20 s.
template <typename What>
bool comes_true(What what) {
  const lines::KernelInstant give_up = lines::kernel_now() + std::chrono::seconds{20};
  while (!what()) {
    if (lines::kernel_now() > give_up) return false;
    lines::kernel_nap(std::chrono::milliseconds{1});
  }
  return true;
}

/// Everything that a listener tells.
class Told {
 public:
  [[nodiscard]] Hearers hearers() {
    return {.report = [this](const Report& report) { keep(reports_, report); },
            .state =
                [this](bool up, lines::KernelInstant at) {
                  if (!up) keep(losses_, at);
                  keep(states_, up);
                },
            .line = [this](std::string_view line,
                           lines::KernelInstant) { keep(lines_, std::string(line)); },
            .remark = [this](const std::string& text) { keep(remarks_, text); }};
  }
  [[nodiscard]] std::vector<Report> reports() { return copy(reports_); }
  [[nodiscard]] std::vector<std::string> events() {
    std::vector<std::string> names;
    for (const Report& report : reports()) names.push_back(report.event);
    return names;
  }
  [[nodiscard]] std::vector<bool> states() { return copy(states_); }
  /// Since when it was down, each time.
  [[nodiscard]] std::vector<lines::KernelInstant> losses() { return copy(losses_); }
  [[nodiscard]] std::vector<std::string> lines() { return copy(lines_); }
  [[nodiscard]] std::vector<std::string> remarks() { return copy(remarks_); }
  /// All of them, a line each.
  [[nodiscard]] std::string all_remarks() {
    std::string all;
    for (const std::string& text : remarks()) all += text + "\n";
    return all;
  }

  [[nodiscard]] std::size_t count_remarks(const std::string& words) {
    std::size_t count = 0;
    for (const std::string& text : remarks()) count += text.find(words) != std::string::npos;
    return count;
  }

  void expect_events(const std::vector<std::string>& expected) {
    EXPECT_TRUE(comes_true([&] { return events() == expected; }))
        << ::testing::PrintToString(events()) << all_remarks();
  }
  void expect_states(const std::vector<bool>& expected) {
    EXPECT_TRUE(comes_true([&] { return states() == expected; }))
        << ::testing::PrintToString(states()) << all_remarks();
  }
  void expect_remark(const std::string& words) {
    EXPECT_TRUE(comes_true([&] { return count_remarks(words) > 0; }))
        << words << " is not in " << all_remarks();
  }

 private:
  template <typename Item>
  void keep(std::vector<Item>& items, const Item& item) {
    const std::scoped_lock lock(mutex_);
    items.push_back(item);
  }
  template <typename Item>
  std::vector<Item> copy(const std::vector<Item>& items) {
    const std::scoped_lock lock(mutex_);
    return items;
  }

  std::mutex mutex_;
  std::vector<Report> reports_;
  std::vector<bool> states_;
  std::vector<lines::KernelInstant> losses_;
  std::vector<std::string> lines_;
  std::vector<std::string> remarks_;
};

}  // namespace plexor::rig
