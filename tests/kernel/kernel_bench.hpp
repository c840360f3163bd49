#pragma once

#include <algorithm>
#include <string>

#include "kernel/line_trace.hpp"
#include "kernel/simulated_chip.hpp"
#include "lines/line_bench.hpp"

namespace plexor::lines {

/// A chip of the kernel's simulator. An output that was let go falls back to what
/// it is pulled to, so what became of it is asked of the trace.
class KernelBench final : public LineBench {
 public:
  [[nodiscard]] std::string chip() const override { return chip_.device(); }
  void drive(std::uint32_t offset, bool high) override { chip_.pull(offset, high); }
  [[nodiscard]] bool is_high(std::uint32_t offset) override { return chip_.is_high(offset); }
  [[nodiscard]] bool last_driven_high(std::uint32_t offset) override {
    bool high = false;
    for (const Driven& driven : trace_.driven()) {
      if (driven.number == chip_.first_number() + offset) high = driven.high;
    }
    return high;
  }

 private:
  SimulatedChip chip_;
  LineTrace trace_;
};

}  // namespace plexor::lines
