#pragma once

#include <cerrno>
#include <cstddef>
#include <memory>
#include <string>
#include <system_error>
#include <utility>
#include <vector>

#include "lines/lines.hpp"

namespace plexor::lines {

enum class Operation { set, get, wait_edge };

/// A fault as data: from one call on, some calls fail and are not carried out.
struct LineFault {
  std::size_t line = 0;  ///< index among the settings; of wait_edge, the one that is blamed
  Operation operation{};
  std::size_t after = 0;  ///< calls that go well before: of this operation, of this line
  std::size_t times = 1;  ///< calls that then fail
  int reason = EIO;       ///< errno
};

/// Lines of any chip, with faults where, when and as often as told.
class FaultyLines final : public Lines {
 public:
  FaultyLines(const std::string& chip, const std::vector<LineSetting>& settings,
              const std::vector<LineFault>& faults)
      : Lines(chip, settings), lines_(request(chip, settings)) {
    for (const LineFault& fault : faults) planned_.push_back({fault, 0});
  }

  bool try_set(std::size_t line, Level level) noexcept override {
    return !fails(Operation::set, line) && lines_->try_set(line, level);
  }
  std::optional<Level> try_get(std::size_t line) noexcept override {
    if (fails(Operation::get, line)) return std::nullopt;
    return lines_->try_get(line);
  }
  std::optional<Edge> wait_edge(base::Duration timeout) override {
    for (std::size_t line = 0; line < settings().size(); ++line) {
      if (fails(Operation::wait_edge, line)) {
        throw fault(line, std::generic_category().message(errno));
      }
    }
    return lines_->wait_edge(timeout);
  }
  void release() noexcept override { lines_->release(); }

 private:
  struct Planned {
    LineFault fault;
    std::size_t calls = 0;
  };

  bool fails(Operation operation, std::size_t line) noexcept {
    bool failed = false;
    for (auto& [fault, calls] : planned_) {
      if (fault.operation != operation || fault.line != line) continue;
      const std::size_t call = calls++;
      if (call < fault.after || call - fault.after >= fault.times) continue;
      errno = fault.reason;
      failed = true;
    }
    return failed;
  }

  std::unique_ptr<Lines> lines_;
  std::vector<Planned> planned_;
};

inline std::unique_ptr<Lines> request_faulty(const std::string& chip,
                                             const std::vector<LineSetting>& settings,
                                             const std::vector<LineFault>& faults) {
  return std::make_unique<FaultyLines>(chip, settings, faults);
}

}  // namespace plexor::lines
