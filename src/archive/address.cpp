#include "archive/address.hpp"

#include <fmt/format.h>
#include <libpq-fe.h>

#include <map>
#include <memory>
#include <string_view>

#include "base/error.hpp"

namespace plexor::archive {

namespace {

using Settings = std::map<std::string, std::string>;

[[noreturn]] void refuse_address(const std::string& found) {
  throw base::InputError({"--archive", 0, 0}, found,
                         "postgresql://user@host:port/database or the path of an SQLite file");
}

/// Nothing of a refused URL is shown but how it begins: who can say what in it is a password?
Settings settings_of(const std::string& url) {
  char* complaint = nullptr;
  const std::unique_ptr<PQconninfoOption, void (*)(PQconninfoOption*)> options(
      PQconninfoParse(url.c_str(), &complaint), &PQconninfoFree);
  PQfreemem(complaint);  // it quotes the URL
  if (!options) refuse_address("a postgresql:// URL that libpq can't read");
  Settings settings;
  for (const PQconninfoOption* one = options.get(); one->keyword != nullptr; ++one) {
    if (one->val != nullptr) settings[one->keyword] = one->val;
  }
  return settings;
}

std::string value_or(const Settings& settings, const std::string& key,
                     const std::string& otherwise) {
  const auto found = settings.find(key);
  return found == settings.end() ? otherwise : found->second;
}

/// As libpq reads keys and values: quoted, with \ before ' and \.
std::string connection_text(const Settings& settings) {
  std::string text;
  for (const auto& [key, value] : settings) {
    if (!text.empty()) text += ' ';
    text += key + "='";
    for (const char c : value) {
      if (c == '\'' || c == '\\') text += '\\';
      text += c;
    }
    text += '\'';
  }
  return text;
}

/// What libpq takes for a part of a name, because of an @ or / in a password or for want of a ?,
/// may be a password.
void refuse_odd_names(const Settings& settings) {
  for (const char* key : {"host", "port", "user", "dbname"}) {
    const bool may_hold_at = std::string_view{key} == "user";
    const std::string value = value_or(settings, key, "");
    if (value.find_first_of(may_hold_at ? "?&=" : "?&=@") == std::string::npos) continue;
    refuse_address(fmt::format(
        "a postgresql:// URL with ?, &, = or @ in its {} (in a password @ is %40 and / is %2F)",
        key));
  }
}

std::string shown_url(const Settings& settings) {
  const std::string user = value_or(settings, "user", "");
  const std::string port = value_or(settings, "port", "");
  return fmt::format("postgresql://{}{}{}{}{}/{}", user, user.empty() ? "" : "@",
                     value_or(settings, "host", ""), port.empty() ? "" : ":", port,
                     value_or(settings, "dbname", ""));
}

Address postgresql_address(const std::string& url) {
  Settings settings = settings_of(url);
  refuse_odd_names(settings);
  Address address{Engine::postgresql, "", value_or(settings, "password", ""), shown_url(settings)};
  // A server that has gone is told within seconds, not after the quarter of an hour that TCP takes.
  settings.insert({{"connect_timeout", "10"}, {"tcp_user_timeout", "20000"}});
  settings.insert({"application_name", "plexor"});
  settings["client_encoding"] = "UTF8";
  address.connection = connection_text(settings);
  return address;
}

}  // namespace

Address address_of(const std::string& text) {
  if (text.starts_with("postgresql://") || text.starts_with("postgres://")) {
    return postgresql_address(text);
  }
  constexpr std::string_view sqlite = "sqlite:";
  const std::string path = text.starts_with(sqlite) ? text.substr(sqlite.size()) : text;
  const std::size_t scheme = path.find("://");
  if (scheme != std::string::npos) refuse_address('"' + path.substr(0, scheme) + "://...\"");
  if (path.empty()) refuse_address("an empty text");
  // What the SQLite driver of SOCI can't be told.
  if (path.find('"') != std::string::npos) refuse_address("a path with a quotation mark in it");
  return {Engine::sqlite, path, "", path};
}

}  // namespace plexor::archive
