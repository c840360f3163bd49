#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "journal/waveforms.hpp"

namespace plexor::journal {

/// A knock and a stretch of quiet, small.
std::vector<WaveRecord> sample_waves();

/// A record whose type, length and every value are drawn; equal keys, equal records.
WaveRecord random_wave(std::uint64_t seed, std::uint32_t number);

/// A file of these records, numbered from 0.
std::string wave_file_of(const std::vector<WaveRecord>& records);

struct ReadWaves {
  ReadSummary summary;
  std::vector<WaveRecord> records;
};
ReadWaves read_waves_of(std::string_view bytes);

}  // namespace plexor::journal
