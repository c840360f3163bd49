#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>
#include <vector>

#include "rig/network/framer.hpp"
#include "rig/network/syslog.hpp"

// Whatever bytes come over a socket, in whatever pieces: messages are short, the same ones
// however the bytes were cut, and what a syslog message says is a part of it.

namespace {

using namespace plexor;

void require(bool promise) {
  if (!promise) std::abort();
}

struct Read {
  std::vector<std::string> messages;
  std::size_t dropped = 0;
  bool is_within = false;
  bool is_readable = true;

  bool operator==(const Read&) const = default;
};

Read read_pieces(rig::Framing framing, std::string_view bytes, std::size_t piece) {
  Read read;
  rig::Framer framer(framing,
                     [&](std::string_view message) { read.messages.emplace_back(message); });
  for (; !bytes.empty() && read.is_readable; bytes.remove_prefix(std::min(piece, bytes.size()))) {
    read.is_readable = framer.feed(bytes.substr(0, piece));
  }
  read.dropped = framer.dropped();
  read.is_within = framer.is_within();
  return read;
}

void check_text(std::string_view message) {
  const auto text = rig::syslog_text(message);
  if (!text || text->empty()) return;
  require(text->data() >= message.data());
  require(text->data() + text->size() <= message.data() + message.size());
  require(message.starts_with('<'));
}

void check_framing(rig::Framing framing, std::string_view bytes, std::size_t piece) {
  const Read read = read_pieces(framing, bytes, piece);
  require(read == read_pieces(framing, bytes, bytes.size() + 1));
  for (const std::string& message : read.messages) {
    require(!message.empty() && message.size() <= rig::longest_message(framing));
    check_text(message);
  }
  (void)rig::split_datagram(framing, bytes, [&](std::string_view message) {
    require(!message.empty() && message.size() <= rig::longest_message(framing));
  });
}

}  // namespace

/// The first byte says how long the pieces are.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::string_view bytes(reinterpret_cast<const char*>(data + 1), size - 1);
  check_text(bytes);
  check_framing(rig::Framing::syslog, bytes, std::size_t{data[0]} + 1);
  check_framing(rig::Framing::lines, bytes, std::size_t{data[0]} + 1);
  return 0;
}
