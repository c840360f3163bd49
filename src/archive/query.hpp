#pragma once

#include <cstdint>
#include <optional>
#include <string>

namespace plexor::archive {

/// Which runs. An empty text asks for nothing.
struct Query {
  std::string release;  ///< of a device
  std::string unit;     ///< a device's name
  std::string rig;
  std::string surface;
  std::string scenario;
  std::string from_night;  ///< "2026-06-11", itself included; likewise to_night
  std::string to_night;
  std::optional<std::uint32_t> newest_nights;  ///< of the nights in which there are such runs
  bool with_lifted = false;
};

}  // namespace plexor::archive
