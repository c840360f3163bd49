#pragma once

#include <filesystem>
#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "journal/reader.hpp"
#include "journal/writer.hpp"

namespace plexor::journal {

/// One record of each type, header first, with every optional field set somewhere.
std::vector<Record> sample_records();

/// An event without figures of the device's own.
Heard heard(std::string name, base::Instant at = base::segment_start);

/// A record whose type and every value are drawn; equal keys, equal records.
Record random_record(std::uint64_t seed, std::uint32_t number);

/// The lines of these records, numbered from 0.
std::string journal_of(const std::vector<Record>& records);

/// A line with a right checksum around any text: {"crc":"...",TEXT}\n.
std::string framed(std::string_view members);

struct ReadJournal {
  ReadSummary summary;
  std::vector<Entry> entries;
};
ReadJournal read_all(std::string_view bytes);
ReadJournal read_file(const std::filesystem::path& path);

std::string bytes_of(const std::filesystem::path& path);
void write_bytes(const std::filesystem::path& path, std::string_view bytes);

/// A folder of its own for one test, removed with it.
class TestFolder {
 public:
  TestFolder();
  ~TestFolder();
  TestFolder(const TestFolder&) = delete;
  TestFolder& operator=(const TestFolder&) = delete;
  std::filesystem::path operator/(std::string_view name) const { return path_ / name; }
  const std::filesystem::path& path() const { return path_; }

 private:
  std::filesystem::path path_;
};

/// When a MemorySink fails: data, not code.
struct Faults {
  static constexpr std::size_t never = std::numeric_limits<std::size_t>::max();
  std::size_t write = never;  ///< number of the write that fails, from 0
  std::size_t bytes = never;  ///< a write that would hold more than this in all fails part-way
  std::size_t sync = never;   ///< number of the sync that fails, from 0
};

/// What reached a MemorySink; outlives it.
struct MemoryFile {
  std::string bytes;
  std::size_t writes = 0;
  std::size_t syncs = 0;
};

std::unique_ptr<Sink> memory_sink(MemoryFile& file, Faults faults = {});

}  // namespace plexor::journal
