#include <fmt/format.h>

#include <array>
#include <charconv>

#include "base/random.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

/// Exactly N words in hexadecimal, blank-separated.
template <std::size_t N>
std::array<std::uint32_t, N> hex_words(const Inputs& in, const std::string& key) {
  const std::vector<std::string> parts = split(in.text(key), " ");
  std::array<std::uint32_t, N> words{};
  bool good = parts.size() == N;
  for (std::size_t i = 0; good && i < N; ++i) {
    const char* end = parts[i].data() + parts[i].size();
    const auto result = std::from_chars(parts[i].data(), end, words[i], 16);
    good = result.ec == std::errc() && result.ptr == end;
  }
  if (!good)
    throw base::InputError(in.place(), key + "=" + in.text(key),
                           fmt::format("{} hexadecimal words", N));
  return words;
}

Answer philox(const Inputs& in) {
  const auto words = base::philox4x32_10(hex_words<4>(in, "counter"), hex_words<2>(in, "key"));
  return fmt::format("{:08x} {:08x} {:08x} {:08x}", words[0], words[1], words[2], words[3]);
}

}  // namespace

std::vector<Handler> generator_handlers() {
  return {{"philox4x32-10", "output_words_hex", "counter key", philox}};
}

}  // namespace plexor::reference
