#include "virtual/line.hpp"

#include "base/random.hpp"

namespace plexor::virtual_rig {

base::Instant Line::arrival(const std::string& name, base::Instant sent) {
  const auto characters = static_cast<std::int64_t>(name.size()) + 1;
  const base::Duration on_line{characters * 10 * 1'000'000'000 / baud_};
  const base::DrawKey key{
      .seed = seed_, .block = device_, .trial = messages_++, .purpose = base::Purpose::line_poll};
  return sent + on_line + base::Duration{base::uniform_between(key, 0, poll_.count())};
}

}  // namespace plexor::virtual_rig
