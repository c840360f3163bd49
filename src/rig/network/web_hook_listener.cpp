#include "rig/network/web_hook_listener.hpp"

#include <algorithm>
#include <string_view>
#include <utility>

#include "base/error.hpp"
#include "rig/network/receive_stamp.hpp"
#include "rig/network/secret.hpp"

namespace plexor::rig {

namespace {

/// RFC 6750, 2.1: b64token, whatever the place of the equals signs.
bool can_be_sent(char c) {
  constexpr std::string_view others = "-._~+/=";
  return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
         others.find(c) != std::string_view::npos;
}

std::string token_at(const SecretPlace& place) {
  std::string token = read_secret(place);
  if (std::all_of(token.begin(), token.end(), can_be_sent)) return token;
  throw base::InputError({place.file.empty() ? place.variable : place.file, 0, 0},
                         "a token with characters that no request can carry",
                         "letters, digits and - . _ ~ + / = only",
                         "openssl rand -hex 32 makes a good one");
}

}  // namespace

WebHookListener::WebHookListener(std::string device, const WebHookSettings& settings,
                                 Hearers hearers, std::shared_ptr<WebHookServer> server)
    : intake_(std::move(device), settings.format, std::move(hearers)), server_(std::move(server)) {
  server_->add({settings.path, token_at(settings.token), settings.peers, &intake_});
}

WebHookListener::~WebHookListener() { server_->remove(intake_); }

base::Duration WebHookListener::arrival_width() const {
  return stamp_width(server_->has_kernel_stamps());
}

}  // namespace plexor::rig
