#pragma once

#include <unistd.h>

#include <utility>

namespace plexor::lines {

/// An open file, socket or other descriptor of the kernel's, which is closed with it.
class Descriptor {
 public:
  /// Below 0: none is open.
  explicit Descriptor(int descriptor = -1) : descriptor_(descriptor) {}
  ~Descriptor() { reset(); }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  Descriptor(Descriptor&& other) noexcept : descriptor_(std::exchange(other.descriptor_, -1)) {}
  Descriptor& operator=(Descriptor&& other) noexcept {
    std::swap(descriptor_, other.descriptor_);
    return *this;
  }

  void reset() {
    if (descriptor_ >= 0) ::close(std::exchange(descriptor_, -1));
  }
  [[nodiscard]] int get() const { return descriptor_; }
  [[nodiscard]] bool is_open() const { return descriptor_ >= 0; }

 private:
  int descriptor_;
};

}  // namespace plexor::lines
