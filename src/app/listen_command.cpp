#include <fmt/format.h>

#include <chrono>
#include <cstdio>
#include <memory>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/rig_loading.hpp"
#include "app/stop_signals.hpp"
#include "base/error.hpp"
#include "lines/lines.hpp"
#include "rig/listener.hpp"

namespace plexor::app {

namespace {

struct ListenOptions {
  std::string rig;
  double for_s = 0.0;
  bool raw = false;
};

/// Says what is heard, a line each, from whichever thread hears it.
class Transcript {
 public:
  explicit Transcript(bool raw) : raw_(raw) {}

  [[nodiscard]] rig::Hearers hearers(const std::string& device) {
    rig::Hearers hearers;
    hearers.report = [this, device](const rig::Report& report) {
      say(report.at, device, fmt::format("reports \"{}\"{}", report.event, details(report)));
    };
    hearers.state = [this, device](bool up, lines::KernelInstant at) {
      say(at, device, up ? "can be heard" : "can't be heard any more; looking for it");
    };
    hearers.remark = [this, device](const std::string& text) {
      say(lines::kernel_now(), device, text);
    };
    if (raw_) {
      hearers.line = [this, device](std::string_view line, lines::KernelInstant at) {
        say(at, device, fmt::format("sends  {}", line));
      };
    }
    return hearers;
  }

 private:
  static std::string details(const rig::Report& report) {
    std::string text;
    if (report.device_time)
      text += fmt::format(", its clock {:.3f} ms", base::to_ms(*report.device_time));
    if (report.strength) text += fmt::format(", strength {:g}", *report.strength);
    return text;
  }

  void say(lines::KernelInstant at, const std::string& device, const std::string& what) {
    const std::scoped_lock lock(mutex_);
    const std::string line =
        fmt::format("{:10.3f} s  {} {}\n", base::to_s(at - start_), device, what);
    std::fputs(line.c_str(), stdout);  // on a listener's thread: unread, it must not end it
    std::fflush(stdout);
  }

  bool raw_;
  lines::KernelInstant start_ = lines::kernel_now();
  std::mutex mutex_;
};

void listen(const ListenOptions& options, const rig::RigFile& rig) {
  const StopSignals stop;
  Transcript transcript(options.raw);
  rig::Listening listening;
  std::vector<std::unique_ptr<rig::Listener>> listeners;
  for (const rig::Device& device : rig.devices) {
    for (const rig::ListenerSettings& settings : device.listeners) {
      const bool is_one_of_several = device.listeners.size() > 1;
      const std::string who =
          is_one_of_several ? fmt::format("{} ({})", device.name, settings.name) : device.name;
      listeners.push_back(listening.listen(device, settings, transcript.hearers(who)));
    }
  }
  say_aside("Listening to {} device(s); Ctrl-C ends it.\n", rig.devices.size());
  const auto length =
      std::chrono::duration_cast<base::Duration>(std::chrono::duration<double>(options.for_s));
  const lines::KernelInstant end = lines::kernel_now() + length;
  while (!stop.requested() && (options.for_s <= 0.0 || lines::kernel_now() < end)) {
    lines::kernel_nap(std::chrono::milliseconds{50});
  }
}

}  // namespace

CommandBody add_listen_command(CLI::App& parser) {
  const auto options = std::make_shared<ListenOptions>();
  parser.add_option("--rig", options->rig, "Rig file of kind \"lines\"")->required();
  parser.add_flag("--raw", options->raw,
                  "Show every line that comes, whether it is an event or not");
  parser.add_option("--for-s", options->for_s, "End after so many seconds")
      ->check(CLI::Range(0.1, 86'400.0));
  parser.footer(
      "Shows what the devices say as it comes; knock by hand and see. Moves nothing.\n"
      "Example: plexor listen --rig rig/simulate-oak.toml --raw");
  return [options] {
    const LoadedRig loaded = load_rig(options->rig);
    if (!loaded.rig.wiring) {
      throw base::InputError(options->rig + ": a rig in virtual time has nobody to listen to");
    }
    listen(*options, loaded.rig);
    return ExitCode::pass;
  };
}

}  // namespace plexor::app
