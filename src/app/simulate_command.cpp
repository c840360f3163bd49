#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/rig_loading.hpp"
#include "app/rig_state.hpp"
#include "app/stop_signals.hpp"
#include "base/error.hpp"
#include "lines/virtual_chip.hpp"
#include "rig/line_assembler.hpp"
#include "rig/rig_file.hpp"
#include "run/file_replacement.hpp"
#include "virtual/live_bench.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

struct SimulateOptions {
  std::string rig;
  std::uint64_t seed = 1;
  bool lifted = false;
};

void prepare_place(const fs::path& chip) {
  std::error_code error;
  if (fs::exists(chip, error)) {
    throw base::RigFault(chip.string() +
                         " is there already: another simulation uses it, or one was killed; if "
                         "none is running, remove the file");
  }
  fs::create_directories(fs::absolute(chip).parent_path(), error);
}

/// The files of a simulated chip, gone with it.
class ChipFiles {
 public:
  explicit ChipFiles(fs::path chip) : chip_(std::move(chip)) {}
  ~ChipFiles() {
    std::error_code none;
    fs::remove(chip_, none);
    fs::remove(coil_file_beside(chip_), none);
  }
  ChipFiles(const ChipFiles&) = delete;
  ChipFiles& operator=(const ChipFiles&) = delete;

 private:
  fs::path chip_;
};

/// A coil that was made just now is cold.
void keep_new_coil(const rig::RigFile& rig) {
  const safety::CoilMemory memory{{safety::cold(rig.coil)}, boot_now(), true, 0};
  run::replace_file(coil_file_beside(rig.wiring->chip), to_text(memory));
}

void prepare_ports(const rig::RigFile& rig) {
  const auto prepare = [](const rig::SerialSettings* serial) {
    if (serial != nullptr) fs::create_directories(fs::absolute(serial->port).parent_path());
  };
  for (const rig::Device& device : rig.devices) {
    for (const rig::ListenerSettings& listener : device.listeners) {
      prepare(std::get_if<rig::SerialSettings>(&listener.way));
    }
  }
  for (const rig::Channel& channel : rig.channels) {
    prepare(std::get_if<rig::SerialSettings>(&channel.source.way));
  }
}

/// What a person can do at the bench, by words on standard input.
class Hands {
 public:
  Hands(lines::VirtualChip chip, const rig::RigFile& rig)
      : chip_(std::move(chip)), words_([this](std::string_view line) { obey(line); }) {
    const safety::Wiring& wiring = rig.wiring.value();
    const auto move = [this](const safety::Wire& wire, bool closed) {
      return [this, wire, closed] { chip_.drive(wire.offset, closed != wire.active_low); };
    };
    deeds_ = {{"loop open", move(wiring.stop_loop, false)},
              {"loop close", move(wiring.stop_loop, true)},
              {"lid open", move(wiring.lid, false)},
              {"lid close", move(wiring.lid, true)}};
    if (wiring.contact) deeds_["knock"] = [this, contact = *wiring.contact] { knock(contact); };
    for (const rig::DisturbanceLine& one : rig.disturbances) {
      deeds_[one.name + " on"] = move(one.wire, true);
      deeds_[one.name + " off"] = move(one.wire, false);
      obey(one.name + " off");
    }
    obey("loop close");
    obey("lid close");
  }

  /// The devices and their cables belong to the bench.
  void reach_for(virtual_rig::LiveBench& bench) {
    using virtual_rig::Voice;
    const auto do_to_devices = [this, &bench](const char* words, auto deed) {
      deeds_[words] = [&bench, deed] { bench.with_devices(deed); };
    };
    do_to_devices("cable out", [](Voice& device) { device.unplug(); });
    do_to_devices("cable in", [](Voice& device) { device.plug_in(); });
    do_to_devices("device reset", [](Voice& device) { device.reset(lines::kernel_now()); });
    do_to_devices("device hang", [](Voice& device) { device.hang(); });
    do_to_devices("device wake", [](Voice& device) { device.wake(); });
    do_to_devices("device babble", [](Voice& device) { device.babble(lines::kernel_now()); });
    do_to_devices("device garbage", [](Voice& device) { device.utter_garbage(); });
  }

  /// Does what has been typed so far; false once input has ended.
  [[nodiscard]] bool look() {
    pollfd typed{STDIN_FILENO, POLLIN, 0};
    if (poll(&typed, 1, 0) <= 0) return true;
    std::array<char, 256> text{};
    const ssize_t bytes = read(STDIN_FILENO, text.data(), text.size());
    if (bytes > 0) words_.feed({text.data(), static_cast<std::size_t>(bytes)});
    return bytes > 0;
  }

  [[nodiscard]] std::string words() const {
    std::string all;
    for (const auto& [words, deed] : deeds_) all += (all.empty() ? "" : ", ") + words;
    return all;
  }

 private:
  /// On the surface, by hand: what "plexor learn" hears.
  void knock(const safety::Wire& contact) {
    chip_.drive(contact.offset, !contact.active_low);
    lines::kernel_nap(std::chrono::milliseconds{3});
    chip_.drive(contact.offset, contact.active_low);
  }

  void obey(std::string_view line) {
    const auto deed = deeds_.find(std::string(line));
    if (deed != deeds_.end()) return deed->second();
    say_aside("\"{:.60}\" is none of: {}\n", line, words());
  }

  lines::VirtualChip chip_;
  std::map<std::string, std::function<void()>> deeds_;
  rig::LineAssembler words_;
};

void tell_where(const SimulateOptions& options, const rig::RigFile& rig, const Hands& hands) {
  fmt::print("\"{}\" is being simulated. Lines: {}\n", rig.name, rig.wiring->chip);
  for (const rig::Device& device : rig.devices) {
    for (const rig::ListenerSettings& listener : device.listeners) {
      fmt::print("Device \"{}\": {}\n", device.name, rig::place_of(listener.way));
    }
  }
  for (const rig::Channel& channel : rig.channels) {
    fmt::print("Channel \"{}\": {}\n", channel.name, rig::place_of(channel.source));
  }
  fmt::print(
      "Tap with it from another terminal:\n  plexor run SCENARIO --rig {}\n"
      "Type here what your hands do: {}. Ctrl-C ends it.\n",
      options.rig, hands.words());
  std::fflush(stdout);
}

void fit_power_lines(const rig::RigFile& rig, virtual_rig::LiveBench& bench) {
  for (std::uint32_t device = 0; device < rig.devices.size(); ++device) {
    const auto& recovery = rig.devices[device].recovery;
    if (recovery && recovery->power) bench.fit_power_line(device, recovery->power->line.value());
  }
}

void simulate(const SimulateOptions& options, const std::string& text, const rig::RigFile& rig) {
  const StopSignals stop;
  const auto simulation = virtual_rig::parse_simulation(text, options.rig, rig);
  prepare_place(rig.wiring->chip);
  auto chip = lines::VirtualChip::create(rig.wiring->chip);
  const ChipFiles files(rig.wiring->chip);
  keep_new_coil(rig);
  prepare_ports(rig);
  Hands hands(chip, rig);
  virtual_rig::LiveBench bench(
      chip, *rig.wiring, {rig.tiers.one_shot, rig.tiers.longest_on},
      std::make_unique<virtual_rig::VirtualRig>(rig, simulation, options.seed, options.lifted),
      virtual_rig::make_voices(rig, simulation, chip));
  if (rig.speed_gate) bench.fit_gate(rig.speed_gate->wire);
  bench.lag_contact(rig.contact.lag);
  fit_power_lines(rig, bench);
  bench.fit_channels(virtual_rig::make_channel_voices(rig));
  hands.reach_for(bench);
  tell_where(options, rig, hands);
  bool typing = true;
  bench.serve([&] {
    typing = typing && hands.look();
    return stop.requested();
  });
}

}  // namespace

CommandBody add_simulate_command(CLI::App& parser) {
  const auto options = std::make_shared<SimulateOptions>();
  parser.add_option("RIG", options->rig, "Rig file of kind \"lines\" with a [simulated] part")
      ->required();
  parser.add_option("--seed", options->seed, "For noise, scatter and disturbances")
      ->capture_default_str();
  parser.add_flag("--lifted", options->lifted, "The tapper stands clear of the surface");
  parser.footer(
      "Serves lines and serial ports of a rig that does not exist, in real time, until Ctrl-C.\n"
      "Example: plexor simulate rig/simulate-oak.toml");
  return [options] {
    const LoadedRig loaded = load_rig(options->rig);
    if (!loaded.rig.wiring) {
      throw base::InputError(options->rig +
                             ": a rig in virtual time, which \"plexor run\" taps by itself; "
                             "simulate serves rigs of kind \"lines\"");
    }
    simulate(*options, loaded.text, loaded.rig);
    return ExitCode::pass;
  };
}

}  // namespace plexor::app
