#pragma once

#include <string>

#include "rig/listener_settings.hpp"

namespace plexor::rig {

/// What stands at a place of a secret, without the end of its line. Throws
/// base::InputError, which never says the secret: if there is nothing, the file can be read by
/// others than its owner, or it is not one line of 1 to 500 bytes.
[[nodiscard]] std::string read_secret(const SecretPlace& place);

/// That nobody but its owner can reach a file with a secret; throws base::InputError if not.
void check_owner_only(const std::string& file);

}  // namespace plexor::rig
