#pragma once

#include <optional>
#include <string>

#include "base/time.hpp"
#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// Posts a JSON document, once. Nothing if it was taken (any status 2xx), else why it was not, for
/// people. Takes no longer than `patience`, the look-up of the name included. Redirections are not
/// followed: they are told. Throws base::InputError for a token that can't be used.
[[nodiscard]] std::optional<std::string> post_json(const PostSettings& to, const std::string& json,
                                                   base::Duration patience);

}  // namespace plexor::rig
