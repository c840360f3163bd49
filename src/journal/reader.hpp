#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "journal/records.hpp"

namespace plexor::journal {

/// A stretch of a journal that could not be read: damaged lines, or a torn tail.
struct Damage {
  std::uint64_t line = 0;    ///< number of the first damaged line, from 1
  std::uint64_t offset = 0;  ///< bytes from the journal's start, finished parts unpacked
  std::uint64_t bytes = 0;   ///< lost; 0 where lines are missing altogether
  bool torn_tail =
      false;  ///< the last line was never finished (interrupted writing): expected after a crash
  std::string what;  ///< "checksum differs", "sequence jumps from 7 to 9", ...
};

/// How a whole journal read.
struct ReadSummary {
  std::uint64_t records = 0;        ///< delivered
  std::uint64_t bytes = 0;          ///< of the whole journal, what is lost included
  std::uint64_t next_sequence = 0;  ///< where a writer that appends to it must go on
  std::vector<Damage> damages;      ///< the first 100, and a torn tail in any case
  std::uint64_t damage_count = 0;
  std::uint64_t bytes_lost = 0;  ///< by all damages, also those not listed
};

/// Streams a journal's entries, those of its finished parts first, in order to `take`, in bounded
/// memory whatever its length. Damage is named in the summary, never skipped silently: a line whose
/// checksum or form is wrong, or whose sequence number came before, is lost, and reading goes on at
/// the next; damaged lines that follow each other count as one stretch. A jump of the sequence
/// number is named too (lines are missing), but the line itself is good. The first line must be a
/// Header of a readable format version, otherwise, or if the file can't be read, throws
/// base::InputError. An entry is valid only during the call of `take`.
/// `progress` hears now and then what share of the file has been read, 0 to 1.
ReadSummary read_journal(
    const std::filesystem::path& path, const std::function<void(const Entry&)>& take,
    const std::function<void(double share)>& progress = [](double) {});

/// The same on bytes in memory (tests, fuzzing); `name` is for messages.
ReadSummary read_journal_bytes(std::string_view bytes, const std::string& name,
                               const std::function<void(const Entry&)>& take);

/// Cuts a torn tail off the file and makes the rest durable, so that appending
/// can go on; returns what was cut, if anything. Throws base::InputError for
/// what read_journal refuses and base::RigFault if the file can't be changed.
std::optional<Damage> recover_tail(const std::filesystem::path& path);

}  // namespace plexor::journal
