#pragma once

#include <pthread.h>

namespace plexor::run {

/// A mutex whose holder runs with the priority of the most urgent thread that
/// waits for it. std::mutex lets a real-time thread wait for a holder that some
/// third program keeps from running. Meets the standard's Lockable.
class InheritingMutex {
 public:
  InheritingMutex() {
    pthread_mutexattr_t kind;
    pthread_mutexattr_init(&kind);
    pthread_mutexattr_setprotocol(&kind, PTHREAD_PRIO_INHERIT);
    pthread_mutex_init(&mutex_, &kind);
    pthread_mutexattr_destroy(&kind);
  }
  ~InheritingMutex() { pthread_mutex_destroy(&mutex_); }
  InheritingMutex(const InheritingMutex&) = delete;
  InheritingMutex& operator=(const InheritingMutex&) = delete;

  // The names are the standard's.
  void lock() { pthread_mutex_lock(&mutex_); }
  bool try_lock() { return pthread_mutex_trylock(&mutex_) == 0; }
  void unlock() { pthread_mutex_unlock(&mutex_); }

 private:
  pthread_mutex_t mutex_{};
};

}  // namespace plexor::run
