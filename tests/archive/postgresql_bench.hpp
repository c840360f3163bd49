#pragma once

#include "archive/server.hpp"

namespace plexor::archive {

/// The program's one server, begun when it is first asked for.
const Server& server();

}  // namespace plexor::archive
