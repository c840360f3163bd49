#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "rig/network/web_request.hpp"

// Whatever bytes somebody sends to a web hook, in whatever pieces: requests are within their
// limits, and the same ones however the bytes were cut; after a bad one there is no other.

namespace {

using namespace plexor::rig;
using Progress = WebRequestReader::Progress;

void require(bool promise) {
  if (!promise) std::abort();
}

WebHookLimits limits() {
  WebHookLimits small;
  small.header_bytes = 400;
  small.body_bytes = 200;
  return small;
}

struct Heard {
  std::vector<std::string> bodies;
  std::uint32_t refusal = 0;
  bool operator==(const Heard&) const = default;
};

/// The next thing is known without more bytes, or they are needed.
Heard heard(std::string_view bytes, std::size_t piece) {
  Heard all;
  WebRequestReader reader(limits());
  for (;;) {
    const Progress progress = reader.advance();
    if (progress == Progress::whole) {
      require(reader.request().body.size() <= limits().body_bytes);
      all.bodies.push_back(reader.request().body);
      reader.forget();
    } else if (progress == Progress::refused) {
      require(reader.advance() == Progress::refused);
      all.refusal = reader.refusal();
      require(all.refusal >= 400);
      return all;
    } else if (progress == Progress::needs_more) {
      if (bytes.empty()) return all;
      reader.feed(bytes.substr(0, piece));
      bytes.remove_prefix(std::min(piece, bytes.size()));
    } else {
      require(reader.request().path.size() <= limits().header_bytes);
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data + 1), size - 1);
  const Heard whole = heard(bytes, bytes.size() + 1);
  const Heard cut = heard(bytes, std::size_t{data[0]} % 40 + 1);
  require(whole == cut);
  return 0;
}
