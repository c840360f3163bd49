#pragma once

#include <sys/types.h>

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "lines/lines.hpp"

namespace plexor {

/// A line that somebody drove, as the kernel saw it.
struct Driven {
  lines::KernelInstant at;
  pid_t process = 0;
  std::uint32_t number = 0;  ///< of the line, over all chips
  bool high = false;
};

/// The lines driven in a text of the kernel's trace, in its order; what else is in it is left out.
[[nodiscard]] std::vector<Driven> driven_in(std::string_view trace);

/// The kernel's own record of who drove which line when, from its making on. The
/// one witness that also sees a level which a line had only for a moment or
/// before it was let go. In the guest only.
class LineTrace {
 public:
  LineTrace();
  ~LineTrace();
  LineTrace(const LineTrace&) = delete;
  LineTrace& operator=(const LineTrace&) = delete;
  [[nodiscard]] std::vector<Driven> driven() const;

 private:
  std::string folder_;
};

}  // namespace plexor
