#pragma once

#include "archive/database.hpp"

namespace plexor::archive {

/// Makes the tables of a new archive, or brings those of an older one to this version, step by
/// step, in one transaction; of several processes that come at once one does it. Throws
/// base::InputError if the archive is of a newer version.
void bring_up_to_date(Database& database);

}  // namespace plexor::archive
