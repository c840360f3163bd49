#include "virtual/link.hpp"

#include "base/random.hpp"

namespace plexor::virtual_rig {

using base::Duration;

Link::Link(const std::variant<SerialLink, RadioLink>& settings, std::uint32_t device,
           std::uint64_t seed)
    : settings_(settings), device_(device), seed_(seed) {
  if (const auto* radio = std::get_if<RadioLink>(&settings_)) {
    beacon_phase_ = drawn_up_to(radio->beacon - Duration{1});
  }
}

Duration Link::drawn_up_to(Duration longest) {
  const base::DrawKey key{
      .seed = seed_, .block = device_, .trial = draws_++, .purpose = base::Purpose::line_poll};
  return Duration{base::uniform_between(key, 0, longest.count())};
}

base::Instant Link::arrival(const std::string& name, base::Instant sent) {
  if (const auto* radio = std::get_if<RadioLink>(&settings_)) {
    const base::Instant ready = sent + radio->overhead;
    const Duration since_beacon =
        (ready.time_since_epoch() + radio->beacon - beacon_phase_) % radio->beacon;
    return since_beacon == Duration::zero() ? ready : ready + radio->beacon - since_beacon;
  }
  const auto& serial = std::get<SerialLink>(settings_);
  const auto characters = static_cast<std::int64_t>(name.size()) + 1;
  const Duration on_line{characters * 10 * 1'000'000'000 / serial.baud};
  return sent + on_line + drawn_up_to(serial.poll);
}

}  // namespace plexor::virtual_rig
