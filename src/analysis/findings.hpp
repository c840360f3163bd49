#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "analysis/presentation.hpp"
#include "analysis/results.hpp"

namespace plexor::analysis {

/// Keeps the first max_findings things worth looking at and counts them all.
class Findings {
 public:
  /// `rhythm` is the presented rhythm's name. Call for wrong answers only.
  void wrong_answer(const Presentation& presentation, std::uint32_t device,
                    const std::string& rhythm);
  /// The incidents of all devices during a quiet stretch, in order of time.
  void quiet_alarms(const Presentation& presentation);

  [[nodiscard]] std::uint64_t total() const { return total_; }
  [[nodiscard]] std::vector<Finding> take() && { return std::move(found_); }

 private:
  [[nodiscard]] bool full() const { return found_.size() >= max_findings; }

  std::vector<Finding> found_;
  std::uint64_t total_ = 0;
};

/// Neither a hit nor a correct rejection.
[[nodiscard]] bool is_wrong(base::Outcome outcome);

}  // namespace plexor::analysis
