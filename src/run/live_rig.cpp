#include "run/live_rig.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <utility>

#include "base/error.hpp"

namespace plexor::run {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr base::Duration becoming_ready = 3s;
constexpr base::Duration connecting = 10s;  ///< of listeners
constexpr base::Duration answering = 1s;

Overseer::Setting setting_of(const rig::RigFile& rig, const Use& use) {
  // Whoever looks for the shortest pulse that lands gives some that do not.
  constexpr std::uint8_t most_misses_by_hand = 60;
  constexpr std::uint8_t most_misses = 3;
  return {.interlock = {.contact_counts = rig.contact.is_sensed() && !rig.contact.only_confirms(),
                        .lifted = use.lifted,
                        .most_misses = use.by_hand ? most_misses_by_hand : most_misses},
          // A warden that was silent for longer: the one-shot has let go.
          .warden_age = rig.tiers.one_shot};
}

lines::LineSetting gate_setting(const safety::Wiring& wiring) {
  return {.name = "gate",
          .offset = wiring.gate.offset,
          .direction = lines::Direction::output,
          .active_low = wiring.gate.active_low};
}

lines::LineSetting edges_of(const char* name, const safety::Wire& wire) {
  return {.name = name, .offset = wire.offset, .active_low = wire.active_low, .edges = true};
}

/// Inactive, which leaves the device its power, from the first instant and once it is let go.
lines::LineSetting power_setting(const rig::Device& device, const safety::Wire& wire) {
  return {.name = "power of " + device.name,
          .offset = wire.offset,
          .direction = lines::Direction::output,
          .active_low = wire.active_low};
}

/// What comes out of order would be given to the wrong trial.
base::Duration longest_hold_back(const rig::RigFile& rig) {
  base::Duration longest{};
  for (const rig::Device& device : rig.devices) {
    for (const rig::ListenerSettings& listener : device.listeners) {
      longest = std::max(longest, rig::hold_back(listener.way));
    }
  }
  return longest;
}

/// False if it does not come true in time.
bool comes_true(base::Duration patience, const std::function<bool()>& what) {
  const KernelInstant give_up = lines::kernel_now() + patience;
  while (!what()) {
    if (lines::kernel_now() > give_up) return false;
    lines::kernel_nap(2ms);
  }
  return true;
}

}  // namespace

LiveRig::LiveRig(const rig::RigFile& rig, const Use& use, safety::Board board,
                 const std::function<void(const std::string&)>& remark)
    : devices_(rig.devices),
      heartbeat_age_(rig.tiers.heartbeat_age),
      one_shot_(rig.tiers.one_shot),
      contact_setting_(rig.contact),
      queue_(clock_, longest_hold_back(rig)),
      overseer_(setting_of(rig, use), std::move(board), clock_,
                [this](const rig::LeaveEnded& left) { queue_.push(left); }) {
  const safety::Wiring& wiring = rig.wiring.value();
  auto gate = lines::request(wiring.chip, {gate_setting(wiring)});
  if (wiring.contact) {
    contact_ = lines::request(wiring.chip, {edges_of("contact", *wiring.contact)});
    // Before the first tick: never seen would pass for home.
    overseer_.see_contact(contact_->try_get(0) != lines::Level::inactive, lines::kernel_now());
  }
  if (rig.speed_gate) {
    gate_passages_ = lines::request(wiring.chip, {edges_of("speed gate", rig.speed_gate->wire)});
  }
  take_disturbance_lines(rig);
  take_power_lines(rig);
  overseer_.see_listeners(true);  // until a listener says otherwise
  listen(rig, remark);
  hear_channels(rig, remark);
  overseer_.see(safety::Guard::journal, safety::Reading::good);  // none has failed yet
  pulses_ =
      std::make_unique<PulseThread>(std::move(gate), rig.limits, overseer_, clock_,
                                    [this](const rig::PulseFired& fired) { queue_.push(fired); });
  if (contact_) contact_thread_ = std::thread([this] { watch(&LiveRig::follow_contact); });
  if (gate_passages_) gate_thread_ = std::thread([this] { watch(&LiveRig::follow_gate); });
  if (disturbances_) {
    disturbance_thread_ = std::thread([this, remark] { watch_disturbances(remark); });
  }
}

LiveRig::~LiveRig() {
  overseer_.disarm();
  over_ = true;
  pulses_.reset();
  if (contact_thread_.joinable()) contact_thread_.join();
  if (gate_thread_.joinable()) gate_thread_.join();
  if (disturbance_thread_.joinable()) disturbance_thread_.join();
}

void LiveRig::take_power_lines(const rig::RigFile& rig) {
  std::vector<lines::LineSetting> settings;
  for (std::uint32_t device = 0; device < rig.devices.size(); ++device) {
    const auto& recovery = rig.devices[device].recovery;
    if (!recovery || !recovery->power) continue;
    power_line_of_.emplace(device, settings.size());
    settings.push_back(power_setting(rig.devices[device], recovery->power->line.value()));
  }
  if (!settings.empty()) device_power_ = lines::request(rig.wiring->chip, settings);
}

void LiveRig::listen(const rig::RigFile& rig,
                     const std::function<void(const std::string&)>& remark) {
  for (std::uint32_t device = 0; device < rig.devices.size(); ++device) {
    const auto& settings = rig.devices[device].listeners;
    auto& listeners = listeners_.emplace_back();
    for (std::uint32_t listener = 0; listener < settings.size(); ++listener) {
      rig::Hearers hearers = hearers_of(device, listener);
      hearers.remark = remark;
      listeners.push_back(
          listening_.listen(rig.devices[device], settings[listener], std::move(hearers)));
    }
  }
}

/// One that can't be heard holds nothing up: its trials just have no waves.
void LiveRig::hear_channels(const rig::RigFile& rig,
                            const std::function<void(const std::string&)>& remark) {
  for (std::uint32_t channel = 0; channel < rig.channels.size(); ++channel) {
    const auto take = [this, channel](rig::SampleChunk chunk) {
      if (!is_taken_from_) return;
      queue_.push(rig::SamplesHeard{.channel = channel,
                                    .first = clock_.of(chunk.first),
                                    .period = chunk.period,
                                    .values = std::move(chunk.values)});
    };
    channels_.push_back(std::make_unique<rig::SampleListener>(
        rig.channels[channel], rig::SampleHearers{.samples = take, .remark = remark}));
  }
}

rig::Hearers LiveRig::hearers_of(std::uint32_t device, std::uint32_t listener) {
  rig::Hearers hearers;
  hearers.report = [this, device, listener](const rig::Report& report) {
    queue_.push(base::Event{.device = device,
                            .name = report.event,
                            .arrival = clock_.of(report.at),
                            .device_time = report.device_time,
                            .strength = report.strength,
                            .listener = listener});
  };
  hearers.state = [this, device, listener](bool up, KernelInstant at) {
    see_listener(device, listener, up, at);
  };
  const rig::ReportFormat* format = devices_[device].listeners[listener].format();
  if (format != nullptr && format->keep_lines) {
    hearers.line = [this, device, listener](std::string_view line, KernelInstant at) {
      queue_.push(rig::LineHeard{device, std::string(line), clock_.of(at), listener});
    };
  }
  return hearers;
}

std::vector<base::Duration> LiveRig::arrival_widths_of(std::uint32_t device) const {
  std::vector<base::Duration> widths;
  for (const auto& listener : listeners_.at(device)) widths.push_back(listener->arrival_width());
  return widths;
}

std::optional<std::string> LiveRig::version_of(std::uint32_t device) {
  const rig::Device& asked = devices_.at(device);
  const rig::ListenerSettings* way = rig::asked_way_of(asked);
  if (!asked.identity || way == nullptr) return std::nullopt;
  const auto index = static_cast<std::size_t>(way - asked.listeners.data());
  return listeners_.at(device).at(index)->version(asked.identity->timeout);
}

void LiveRig::see_listener(std::uint32_t device, std::uint32_t listener, bool up,
                           KernelInstant at) {
  const std::scoped_lock lock(hearing_mutex_);  // no state may overtake a newer one
  hearing_.set(device, listener, up);
  overseer_.see_listeners(hearing_.is_complete());
  // Before the rig is armed nobody can be missed: it is not ready while one can't be heard.
  if (!arming_) return;
  const KernelInstant earliest = lines::kernel_now() - base::longest_unnoticed;
  queue_.push(rig::ListenerChanged{device, up, clock_.of(std::max(at, earliest)), listener});
}

void LiveRig::watch(void (LiveRig::*follow)()) {
  try {
    (this->*follow)();
  } catch (const base::RigFault& fault) {
    overseer_.fail(fault.what());  // what can't be seen counts as the worst
  }
}

void LiveRig::follow_contact() {
  constexpr base::Duration look_up = 20ms;
  std::optional<KernelInstant> last;
  while (!over_) {
    const auto edge = contact_->wait_edge(look_up);
    if (!edge) continue;
    const bool touching = edge->level == lines::Level::active;
    const KernelInstant at = edge->at - contact_setting_.lag;
    overseer_.see_contact(touching, at);
    const bool bounces = last && at < *last + contact_setting_.debounce;
    if (!touching || bounces) continue;
    last = at;
    queue_.push(rig::ContactSensed{clock_.of(at)});
  }
}

/// Every passage, also that of the way back.
void LiveRig::follow_gate() {
  constexpr base::Duration look_up = 20ms;
  std::optional<KernelInstant> covered_since;
  while (!over_) {
    const auto edge = gate_passages_->wait_edge(look_up);
    if (!edge) continue;
    if (edge->level == lines::Level::active) {
      covered_since = edge->at;
    } else if (covered_since) {
      queue_.push(rig::GatePassed{edge->at - *covered_since, clock_.of(edge->at)});
      covered_since.reset();
    }
  }
}

void LiveRig::take_disturbance_lines(const rig::RigFile& rig) {
  std::vector<lines::LineSetting> settings;
  for (const rig::DisturbanceLine& one : rig.disturbances) {
    settings.push_back(edges_of(one.name.c_str(), one.wire));
    markers_.push_back(
        {one.name, fmt::format("line {}", one.wire.offset), rig::DisturbanceReader(one.tail)});
  }
  if (!settings.empty()) disturbances_ = lines::request(rig.wiring.value().chip, settings);
}

/// They guard nothing: one that can't be read any more is told, and trips nothing.
void LiveRig::watch_disturbances(const std::function<void(const std::string&)>& remark) {
  try {
    follow_disturbances();
  } catch (const base::RigFault& fault) {
    if (remark) {
      remark(fmt::format("nothing is marked as a disturbance any more: {}", fault.what()));
    }
  }
}

void LiveRig::follow_disturbances() {
  constexpr base::Duration look_up = 20ms;
  for (std::size_t i = 0; i < markers_.size(); ++i) {
    markers_[i].reader.take(disturbances_->get(i) == lines::Level::active, clock_.now());
  }
  while (!over_) {
    const base::Instant looked = clock_.now();
    const auto edge = disturbances_->wait_edge(look_up);
    // An edge that is read late was stamped in time, so it speaks before the silence does.
    const base::Instant now = edge ? clock_.of(edge->at) : looked;
    for (std::size_t i = 0; i < markers_.size(); ++i) tell_disturbance(i, now);
    if (edge) markers_[edge->line].reader.take(edge->level == lines::Level::active, now);
  }
}

void LiveRig::tell_disturbance(std::size_t which, base::Instant now) {
  Marker& marker = markers_[which];
  const auto span = marker.reader.settled(now);
  if (!span || !is_taken_from_) return;
  queue_.push(rig::DisturbanceSensed{marker.name, marker.by, span->from, span->to, clock_.now()});
}

void LiveRig::wait_until_ready() {
  const auto is_ready = [this] { return overseer_.state() == safety::InterlockState::ready; };
  if (!comes_true(becoming_ready, is_ready)) {
    throw base::RigFault(fmt::format("the rig is not ready to be armed: {}; nothing was moved",
                                     overseer_.what_stands()));
  }
  if (comes_true(connecting, [this] { return unheard().empty(); })) return;
  throw base::RigFault(
      fmt::format("the rig is not ready to be armed: {} can't be heard; nothing was moved; "
                  "plexor preflight says what is wrong",
                  unheard()));
}

std::string LiveRig::unheard() {
  const std::scoped_lock lock(hearing_mutex_);
  return hearing_.missing();
}

/// From now on the conductor is told of changes, and first of what has changed just before.
void LiveRig::tell_unheard() {
  is_taken_from_ = true;
  const std::scoped_lock lock(hearing_mutex_);
  arming_ = true;
  hearing_.for_each_missing([this](std::uint32_t device, std::uint32_t listener) {
    queue_.push(rig::ListenerChanged{device, false, clock_.now(), listener});
  });
}

void LiveRig::wait_for_power(bool powered, const std::string& otherwise) {
  const auto is_so = [this, powered] { return overseer_.warden().powered == powered; };
  if (comes_true(answering, is_so)) return;
  overseer_.disarm();
  throw base::RigFault(otherwise);
}

/// With the gate inactive: a heartbeat that rests must cost the power.
void LiveRig::prove_warden() {
  overseer_.hold_heartbeat(true);
  wait_for_power(false, "the warden did not take the power from a silent controller");
  const auto has_tripped = [this] { return overseer_.warden().tripped.has_value(); };
  const bool by_silence = comes_true(answering, has_tripped) &&
                          overseer_.warden().tripped == safety::WardenCause::heartbeat_missing;
  if (!by_silence) {  // a lid opened just now is no proof, and nobody has cleared it
    overseer_.disarm();
    throw base::RigFault(
        "the warden took the power for another cause while it was put to the test");
  }
  overseer_.hold_heartbeat(false);
  lines::kernel_nap(heartbeat_age_ / 2);
  overseer_.acknowledge_warden();
}

void LiveRig::arm(std::optional<KernelInstant> leave_ends) {
  tell_unheard();
  overseer_.acknowledge_warden();
  overseer_.want_power(true);
  wait_for_power(true, "the warden gives no power");
  prove_warden();
  wait_for_power(true, "the warden gives no power back after its test");
  const auto armed = [&] { return overseer_.arm(leave_ends); };
  if (comes_true(answering, armed)) return;
  const std::string stands = overseer_.what_stands();
  overseer_.disarm();
  throw base::RigFault("the rig could not be armed: " + (stands.empty() ? "no leave" : stands));
}

void LiveRig::stand_down() {
  overseer_.disarm();
  if (!pulses_->cut()) throw base::RigFault("the gate was not seen inactive; the power is off");
}

bool LiveRig::coil_is_accounted_for() const {
  const safety::Board::WardenState state = overseer_.warden();
  const bool fresh = state.ticks > 0 && lines::kernel_now() - state.at <= one_shot_;
  const bool was_on_longer = state.tripped == safety::WardenCause::pulse_too_long ||
                             state.tripped == safety::WardenCause::coil_unsensed;
  return fresh && state.coil == safety::Reading::good && !was_on_longer;
}

void LiveRig::fire(std::span<const base::Pulse> pulses) {
  // Without a permit nothing is given, and the conductor finds the trial without its pulses.
  if (const auto epoch = overseer_.begin_trial()) pulses_->queue(pulses, *epoch);
}

void LiveRig::make_safe() noexcept {
  if (!pulses_->cut()) overseer_.fail("the gate was not seen inactive");
}

void LiveRig::set_power(std::uint32_t device, bool on) {
  const auto line = power_line_of_.find(device);
  if (line == power_line_of_.end()) throw base::RigFault("a device without a power line");
  device_power_->set(line->second, on ? lines::Level::inactive : lines::Level::active);
}

std::optional<rig::Observation> LiveRig::observe_until(base::Instant deadline) {
  overseer_.conductor_lives(lines::kernel_now());
  return queue_.take_until(deadline);
}

}  // namespace plexor::run
