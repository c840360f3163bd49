#pragma once

#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>

namespace plexor {

// Files of sysfs, configfs and tracefs: one value each, in the guest only. Throw
// std::runtime_error naming the file.

inline std::string read_file(const std::string& file) {
  std::ifstream in(file);
  std::ostringstream text;
  text << in.rdbuf();
  if (!in) throw std::runtime_error("can't read " + file);
  return text.str();
}

inline std::string read_word(const std::string& file) {
  std::istringstream text(read_file(file));
  std::string word;
  text >> word;
  return word;
}

inline void write_file(const std::string& file, const std::string& text) {
  std::ofstream out(file);
  out << text << std::flush;
  if (!out) throw std::runtime_error("can't write " + file);
}

}  // namespace plexor
