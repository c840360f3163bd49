#include "rig/network/web_hook_routes.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <utility>

namespace plexor::rig {

namespace {

using boost::asio::ip::address;
using Taken = Intake::Taken;

constexpr std::uint32_t done = 204;
constexpr std::uint32_t no_token = 401;
constexpr std::uint32_t not_named = 403;
constexpr std::uint32_t no_path = 404;
constexpr std::uint32_t no_post = 405;
constexpr std::uint32_t unknown_type = 415;
constexpr std::uint32_t no_report = 422;
constexpr std::uint32_t too_many = 429;

unsigned byte_of(char c) { return static_cast<unsigned char>(c); }

/// How long it takes does not say how much of a token was right.
bool is_same_secret(std::string_view given, std::string_view secret) {
  unsigned difference = given.size() == secret.size() ? 0 : 1;
  for (std::size_t i = 0; i < given.size(); ++i) {
    difference |= byte_of(given[i]) ^ byte_of(secret[i % secret.size()]);
  }
  return difference == 0;
}

std::optional<Encoding> encoding_of(const WebRequest& request) {
  const std::string& type = request.media_type;
  if (request.is_packed) return std::nullopt;
  if (type == "application/x-www-form-urlencoded") return Encoding::form;
  if (type.empty() || type == "application/json" || type == "text/plain") return Encoding::plain;
  return std::nullopt;
}

/// Of what became of it for each device.
std::uint32_t status_of(const std::vector<Taken>& taken) {
  const auto has = [&](Taken what) {
    return std::find(taken.begin(), taken.end(), what) != taken.end();
  };
  if (has(Taken::told) || has(Taken::repeated)) return done;
  return has(Taken::dropped) ? too_many : no_report;
}

/// A socket that takes both kinds shows IPv4 addresses as ::ffff:192.168.7.20.
address plain(const address& from) {
  if (!from.is_v6() || !from.to_v6().is_v4_mapped()) return from;
  return boost::asio::ip::make_address_v4(boost::asio::ip::v4_mapped, from.to_v6());
}

/// A named link-local address without its interface is that address at any.
bool is_named_by(const address& name, const address& peer) {
  if (!name.is_v6() || !peer.is_v6() || name.to_v6().scope_id() != 0) return name == peer;
  return name.to_v6().to_bytes() == peer.to_v6().to_bytes();
}

std::vector<address> addresses_of(const std::vector<std::string>& texts) {
  std::vector<address> addresses;
  addresses.reserve(texts.size());
  for (const std::string& text : texts) {
    addresses.push_back(plain(boost::asio::ip::make_address(text)));
  }
  return addresses;
}

void remark_once(bool& told, const WebHookRoute& route, const address& peer,
                 const std::string& why) {
  if (std::exchange(told, true)) return;
  route.intake->remark("a web request from " + peer.to_string() + " was refused: " + why);
}

}  // namespace

bool WebHookRoutes::Entry::names(const address& peer) const {
  return peers.empty() || std::any_of(peers.begin(), peers.end(),
                                      [&](const address& name) { return is_named_by(name, peer); });
}

void WebHookRoutes::add(const WebHookRoute& route) {
  const std::scoped_lock lock(mutex_);
  entries_.push_back({route, addresses_of(route.peers)});
  if (!up_) route.intake->tell_state(false, lines::kernel_now());
}

void WebHookRoutes::remove(const Intake& intake) {
  const std::scoped_lock lock(mutex_);
  std::erase_if(entries_, [&](const Entry& entry) { return entry.route.intake == &intake; });
}

bool WebHookRoutes::may_come(const address& peer) {
  const std::scoped_lock lock(mutex_);
  const address from = plain(peer);
  const bool is_known =
      entries_.empty() || std::any_of(entries_.begin(), entries_.end(),
                                      [&](const Entry& entry) { return entry.names(from); });
  if (is_known) return true;
  for (Entry& entry : entries_) {
    remark_once(entry.stranger_told, entry.route, from, "\"peers\" does not name it");
  }
  return false;
}

WebHookRoutes::Choice WebHookRoutes::choose(const WebRequest& request, const address& peer) {
  const address from = plain(peer);
  std::vector<Entry*> on_path;
  for (Entry& entry : entries_) {
    if (entry.route.path == request.path) on_path.push_back(&entry);
  }
  if (on_path.empty()) return {{}, no_path};
  if (!request.is_post) return {{}, no_post};
  Choice choice;
  bool is_named = false;
  for (Entry* entry : on_path) {
    const bool has_token = is_same_secret(request.token, entry->route.token);
    if (entry->names(from) && has_token) choice.entries.push_back(entry);
    is_named = is_named || entry->names(from);
  }
  if (!choice.entries.empty()) return choice;
  for (Entry* entry : on_path) {
    if (!is_named) {
      remark_once(entry->stranger_told, entry->route, from, "\"peers\" does not name it");
    } else if (entry->names(from)) {
      remark_once(entry->token_told, entry->route, from, "it had not the right token");
    }
  }
  return {{}, is_named ? no_token : not_named};
}

std::uint32_t WebHookRoutes::refusal_of(const WebRequest& request, const address& peer) {
  const std::scoped_lock lock(mutex_);
  const Choice choice = choose(request, peer);
  if (choice.refusal != 0) return choice.refusal;
  return encoding_of(request) ? 0 : unknown_type;
}

std::uint32_t WebHookRoutes::take(const WebRequest& request, const address& peer,
                                  lines::KernelInstant arrived) {
  const std::scoped_lock lock(mutex_);
  const Choice choice = choose(request, peer);
  if (choice.refusal != 0) return choice.refusal;
  const auto encoding = encoding_of(request);
  if (!encoding) return unknown_type;
  std::vector<Taken> taken;
  for (const Entry* entry : choice.entries) {
    taken.push_back(entry->route.intake->take(request.body, arrived, *encoding));
  }
  return status_of(taken);
}

void WebHookRoutes::tell_down(const std::string& why) {
  const std::scoped_lock lock(mutex_);
  up_ = false;
  for (Entry& entry : entries_) {
    const bool is_news = entry.route.intake->tell_state(false, lines::kernel_now());
    if (!is_news || std::exchange(entry.shortage_told, true)) continue;
    entry.route.intake->remark("can't be heard for now: no connection can be had: " + why +
                               " (see ulimit -n)");
  }
}

void WebHookRoutes::remark_crowd(std::size_t connections) {
  const std::scoped_lock lock(mutex_);
  if (std::exchange(crowd_told_, true)) return;
  for (const Entry& entry : entries_) {
    entry.route.intake->remark(
        fmt::format("{} connections that have shown a token are open; more are not let in (a "
                    "device should close what it does not use)",
                    connections));
  }
}

void WebHookRoutes::tell_up() {
  const std::scoped_lock lock(mutex_);
  up_ = true;
  for (const Entry& entry : entries_) entry.route.intake->tell_state(true, lines::kernel_now());
}

}  // namespace plexor::rig
