// The reference of million_trials.py: reads a journal, checks each line's CRC
// and parses it with simdjson, and does nothing else.

#include <simdjson.h>

#include <boost/crc.hpp>
#include <cstdio>
#include <fstream>
#include <string>

int main(int argc, char** argv) {
  if (argc != 2) {
    std::fputs("usage: bare_parse JOURNAL\n", stderr);
    return 2;
  }
  constexpr std::size_t before_body = sizeof(R"({"crc":"xxxxxxxx",)") - 1;
  std::ifstream in(argv[1], std::ios::binary);
  simdjson::dom::parser parser;
  std::string line;
  unsigned long lines = 0;
  unsigned long crcs = 0;
  while (std::getline(in, line)) {
    boost::crc_32_type crc;
    crc.process_bytes(line.data() + before_body, line.size() - before_body);
    crcs ^= crc.checksum();
    line.reserve(line.size() + simdjson::SIMDJSON_PADDING);
    simdjson::dom::element document;
    if (parser.parse(line.data(), line.size(), false).get(document) != simdjson::SUCCESS) return 1;
    ++lines;
  }
  std::printf("%lu lines, %08lx\n", lines, crcs);
  return 0;
}
