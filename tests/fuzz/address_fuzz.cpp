#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "archive/address.hpp"
#include "base/error.hpp"

// Any text is an archive's address or one InputError. Its password, which stands first in the
// input, up to a byte 0, is shown by neither.

namespace {

void require(bool promise) {
  if (!promise) std::abort();
}

/// So that it can't be found in a text by chance.
std::string secret_of(std::string_view bytes) {
  std::string secret = "SECRET";
  for (const char byte : bytes)
    secret += std::string_view{"@:/?'\\ %x"}[static_cast<unsigned char>(byte) % 9];
  return secret;
}

std::string in_url(const std::string& secret) {
  std::string url;
  for (const char c : secret) {
    constexpr std::string_view digits = "0123456789ABCDEF";
    const auto byte = static_cast<unsigned char>(c);
    url += {'%', digits[byte / 16], digits[byte % 16]};
  }
  return url;
}

void check(const std::string& text, const std::string& secret) {
  using namespace plexor;
  try {
    const archive::Address address = archive::address_of(text);
    require(!address.connection.empty());
    require(secret.empty() || address.shown.find("SECRET") == std::string::npos);
  } catch (const base::InputError& error) {
    require(secret.empty() ||
            std::string_view{error.what()}.find("SECRET") == std::string_view::npos);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view bytes(reinterpret_cast<const char*>(data), size);
  check(std::string(bytes), "");
  const std::size_t cut = bytes.find('\0');
  if (cut == std::string_view::npos) return 0;
  const std::string secret = secret_of(bytes.substr(0, cut));
  const std::string rest(bytes.substr(cut + 1));
  // What stands there as well, perhaps encoded, may be shown.
  if (rest.find("SECRET") != std::string::npos || rest.find('%') != std::string::npos) return 0;
  for (const char* scheme : {"postgresql://", "postgres://"}) {
    check(scheme + ("plexor:" + in_url(secret)) + "@" + rest, secret);
    const char* joint = rest.find('?') == std::string::npos ? "?" : "&";
    check(scheme + rest + joint + "password=" + in_url(secret), secret);
  }
  return 0;
}
