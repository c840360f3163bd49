#pragma once

#include <atomic>
#include <memory>
#include <optional>
#include <string>
#include <thread>

#include "rig/listener.hpp"
#include "rig/listener_settings.hpp"
#include "rig/stamp_width.hpp"

namespace plexor::rig {

/// Listens to an output line of a device. The kernel's stamp of the edge is the
/// report's arrival (see EdgeReader for which edge); it is told hold_back() later.
class LineListener final : public Listener {
 public:
  /// `device`: its name, for people. Throws base::RigFault if the line can't be had.
  LineListener(std::string device, const LineSettings& settings, Hearers hearers);
  ~LineListener() override;
  LineListener(const LineListener&) = delete;
  LineListener& operator=(const LineListener&) = delete;

  [[nodiscard]] base::Duration arrival_width() const override { return stamp_width(true); }

 private:
  void live();
  void follow();
  void tell_lost_edges(lines::KernelInstant at);
  void tell(std::size_t pulses, lines::KernelInstant at);
  [[nodiscard]] bool find_again();
  void remark(const std::string& text) const;

  std::string device_;
  LineSettings settings_;
  Hearers hearers_;
  std::unique_ptr<lines::Lines> line_;
  bool miscount_told_ = false;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor::rig
