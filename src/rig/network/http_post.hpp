#pragma once

#include <optional>
#include <string>

#include "base/time.hpp"
#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// Why what was posted was not taken.
struct NotTaken {
  std::string why;          ///< for people
  bool is_refused = false;  ///< by an answer: it would not be taken a second time either
};

/// Posts a JSON document, once. Nothing if it was taken (any status 2xx). Takes no longer than
/// `patience`, the look-up of the name included. Redirections are not followed: they are told.
/// Throws base::InputError for a token that can't be used.
[[nodiscard]] std::optional<NotTaken> post_json(const PostSettings& to, const std::string& json,
                                                base::Duration patience);

}  // namespace plexor::rig
