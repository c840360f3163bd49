#include "rig/line_assembler.hpp"

namespace plexor::rig {

void LineAssembler::feed(std::string_view bytes) {
  for (const char byte : bytes) {
    if (byte == '\n') {
      finish();
    } else if (line_.size() <= longest_) {  // and its CR
      line_ += byte;
    } else {
      too_long_ = true;
    }
  }
}

void LineAssembler::finish() {
  std::string_view line = line_;
  while (!line.empty() && (line.back() == '\r' || line.back() == ' ')) line.remove_suffix(1);
  if (too_long_ || line.size() > longest_) {
    ++dropped_;
  } else if (!line.empty()) {
    take_(line);
  }
  line_.clear();
  too_long_ = false;
}

}  // namespace plexor::rig
