#include "rig/network/ear_list.hpp"

#include <algorithm>

namespace plexor::rig {

void EarList::add(SocketEar& ear) {
  const std::scoped_lock lock(mutex_);
  ears_.push_back(&ear);
}

void EarList::remove(SocketEar& ear) {
  const std::scoped_lock lock(mutex_);
  std::erase(ears_, &ear);
}

bool EarList::expects(const Address& peer) const {
  const std::scoped_lock lock(mutex_);
  return std::ranges::any_of(ears_, [&](const SocketEar* ear) { return ear->expects(peer); });
}

void EarList::for_each(const std::function<void(SocketEar&)>& deed) {
  const std::scoped_lock lock(mutex_);
  for (SocketEar* ear : ears_) deed(*ear);
}

void EarList::for_each_of(const Address& peer, const std::function<void(SocketEar&)>& deed) {
  for_each([&](SocketEar& ear) {
    if (ear.expects(peer)) deed(ear);
  });
}

void EarList::remark_stranger(const Address& peer) {
  constexpr std::size_t most = 8;
  const std::scoped_lock lock(mutex_);
  if (ears_.empty() || strangers_.size() >= most || !strangers_.insert(peer).second) return;
  ears_.front()->remark("what comes from " + peer.to_string() +
                        " is not counted: \"peers\" does not name it");
}

}  // namespace plexor::rig
