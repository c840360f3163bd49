#pragma once

#include <cstdint>
#include <string>

namespace plexor::archive {

enum class Engine : std::uint8_t { sqlite, postgresql };

/// Where an archive is.
struct Address {
  Engine engine = Engine::sqlite;
  std::string connection;  ///< the file, or what libpq connects by: it may hold a password
  std::string password;    ///< never shown; empty where none was given
  std::string shown;       ///< for people
};

/// "postgresql://user@host:port/database?parameter=value" (as libpq documents it, "Connection
/// URIs"), "sqlite:PATH", or the path of an SQLite file. Throws base::InputError, which never
/// tells a password.
[[nodiscard]] Address address_of(const std::string& text);

}  // namespace plexor::archive
