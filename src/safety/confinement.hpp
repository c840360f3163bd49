#pragma once

namespace plexor::safety {

/// What the warden gives up once its lines are held: it cannot grow, open,
/// start or connect to anything any more, and is nobody. Memory is locked, the
/// scheduler asked for real time, root left behind, system calls cut down to
/// those that its loop and its end need; any other ends the process, and the
/// one-shot outside then ends the power [S26]. Where the host refuses locked
/// memory or real time, late ticks will take the power; returns false then.
///
/// Builds with sanitizers keep their system calls: they need more. Throws
/// base::RigFault if rights could not be given up.
[[nodiscard]] bool confine();

}  // namespace plexor::safety
