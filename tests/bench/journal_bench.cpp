#include <benchmark/benchmark.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <simdjson.h>
#include <unistd.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "journal/reader.hpp"
#include "journal/writer.hpp"

// Goals, as ratios on one machine: reading a journal takes at most 1.5 times as
// long as parsing its lines with simdjson and checking their CRCs; appending
// with group commit is at least 0.8 times as fast as one write() for each of
// the same lines. PLEXOR_BENCH_TRIALS sets the size for reading (default
// 1,000,000 two-tap trials, about 560 MB in the folder for temporary files).

namespace plexor::journal {
namespace {

using namespace std::chrono_literals;

/// Trials in one round of appending, and how many of them share a commit.
constexpr std::size_t appended_trials = 100'000;
constexpr std::size_t committed_trials = 10'000;

std::size_t read_trials() {
  const char* wanted = std::getenv("PLEXOR_BENCH_TRIALS");
  return wanted == nullptr ? 1'000'000 : std::strtoul(wanted, nullptr, 10);
}

/// The three records of one two-tap trial; trials follow each other in three seconds.
class TrialRecords {
 public:
  TrialRecords() {
    plan_.trial.taps = {{0ns, {901'234}}, {190'123'456ns, {899'123}}};
    plan_.trial.window = 1200ms;
    plan_.trial.gap = 2'123'456'789ns;
    plan_.pulses = {{{}, 7'912'345ns}, {{}, 7'898'765ns}};
    plan_.coil_mc = 31'250;
    event_.event.name = "call";
  }

  std::vector<Record> of(std::size_t number) {
    const base::Instant start{60s + static_cast<std::int64_t>(number) * 3'012'345'678ns};
    plan_.trial.id.number = static_cast<std::uint32_t>(number);
    plan_.start = start;
    plan_.pulses[0].on = start - 8'123'456ns;
    plan_.pulses[1].on = start + 182'012'345ns;
    event_.event.arrival = start + 712'345'678ns;
    const TrialDone done{
        plan_.trial.id, start + 1'390'123'456ns, plan_.pulses, {start, start + 190'140'000ns}, {}};
    return {plan_, event_, done};
  }

 private:
  TrialPlanned plan_;
  Heard event_;
};

/// A file of the folder for temporary files, removed at the end.
class ScratchFile {
 public:
  ScratchFile()
      : path_(std::filesystem::temp_directory_path() /
              fmt::format("plexor_journal_bench_{}.jsonl", ::getpid())) {}
  ~ScratchFile() { std::filesystem::remove(path_); }
  ScratchFile(const ScratchFile&) = delete;
  ScratchFile& operator=(const ScratchFile&) = delete;

  const std::filesystem::path& path() const { return path_; }
  std::int64_t size() const { return static_cast<std::int64_t>(std::filesystem::file_size(path_)); }

 private:
  std::filesystem::path path_;
};

void write_journal(const std::filesystem::path& path, std::size_t trials) {
  Writer writer(create_journal_file(path));
  writer.append(Header{});
  TrialRecords records;
  for (std::size_t i = 0; i < trials; ++i) {
    for (const Record& record : records.of(i)) writer.append(record);
  }
  writer.sync();
}

void read_with_the_reader(benchmark::State& state, const ScratchFile& file) {
  for (auto _ : state) {
    std::uint64_t records = 0;
    const auto summary = read_journal(file.path(), [&](const Entry&) { ++records; });
    if (summary.damage_count != 0) state.SkipWithError("the journal is damaged");
    benchmark::DoNotOptimize(records);
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * file.size());
}

/// The reference for reading: the file in memory, then each line's CRC and document.
void parse_barely(benchmark::State& state, const ScratchFile& file) {
  constexpr std::string_view before_body = R"({"crc":"xxxxxxxx",)";
  for (auto _ : state) {
    const simdjson::padded_string text = simdjson::padded_string::load(file.path().string());
    simdjson::dom::parser parser;
    std::string_view rest{text.data(), text.size()};
    while (!rest.empty()) {
      const std::string_view line = rest.substr(0, rest.find('\n'));
      boost::crc_32_type crc;
      crc.process_bytes(line.data() + before_body.size(), line.size() - before_body.size());
      benchmark::DoNotOptimize(crc.checksum());
      simdjson::dom::element document;
      if (parser.parse(line.data(), line.size(), false).get(document) != simdjson::SUCCESS) {
        state.SkipWithError("not JSON");
        return;
      }
      rest.remove_prefix(line.size() + 1);
    }
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * file.size());
}

std::vector<Record> records_to_append() {
  std::vector<Record> records;
  TrialRecords trial;
  for (std::size_t i = 0; i < appended_trials; ++i) {
    for (Record& record : trial.of(i)) records.push_back(std::move(record));
  }
  return records;
}

void append_with_the_writer(benchmark::State& state, const std::vector<Record>& records,
                            std::size_t records_a_commit) {
  const ScratchFile file;
  for (auto _ : state) {
    state.PauseTiming();
    std::filesystem::remove(file.path());
    state.ResumeTiming();
    Writer writer(create_journal_file(file.path()));
    for (std::size_t i = 0; i < records.size(); ++i) {
      writer.append(records[i]);
      if ((i + 1) % records_a_commit == 0) writer.sync();
    }
    writer.flush();
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * file.size());
}

/// The reference for appending: the same lines, made before, one write() each.
void write_plainly(benchmark::State& state, const std::vector<Record>& records) {
  const ScratchFile file;
  std::vector<std::string> lines(records.size());
  for (std::size_t i = 0; i < records.size(); ++i) append_line(lines[i], i, records[i]);
  for (auto _ : state) {
    state.PauseTiming();
    std::filesystem::remove(file.path());
    state.ResumeTiming();
    const int descriptor = ::open(file.path().c_str(), O_WRONLY | O_CREAT | O_APPEND, 0644);
    for (const std::string& line : lines) {
      if (::write(descriptor, line.data(), line.size()) < 0) state.SkipWithError("write failed");
    }
    ::close(descriptor);
  }
  state.SetBytesProcessed(static_cast<std::int64_t>(state.iterations()) * file.size());
}

/// Prints as the console reporter does, and keeps each benchmark's shortest time.
class KeepingReporter : public benchmark::ConsoleReporter {
 public:
  void ReportRuns(const std::vector<Run>& runs) override {
    ConsoleReporter::ReportRuns(runs);
    for (const Run& run : runs) {
      if (run.run_type != Run::RT_Iteration || run.error_occurred) continue;
      const double time = run.GetAdjustedRealTime();
      const auto [kept, first] = shortest_.emplace(run.run_name.function_name, time);
      if (!first) kept->second = std::min(kept->second, time);
    }
  }
  /// NaN where one of them did not run.
  double ratio(const std::string& a, const std::string& b) const {
    if (!shortest_.contains(a) || !shortest_.contains(b)) return std::nan("");
    return shortest_.at(a) / shortest_.at(b);
  }

 private:
  std::map<std::string, double> shortest_;
};

void prepare(benchmark::internal::Benchmark* bench) {
  bench->Unit(benchmark::kMillisecond)->Iterations(1)->Repetitions(5)->UseRealTime();
}

int run(int argc, char** argv) {
  benchmark::Initialize(&argc, argv);
  if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 2;
  const ScratchFile journal;
  write_journal(journal.path(), read_trials());
  const std::vector<Record> records = records_to_append();
  const auto reg = [](const char* name, auto act) {
    prepare(benchmark::RegisterBenchmark(name, act));
  };
  reg("read_journal", [&](benchmark::State& state) { read_with_the_reader(state, journal); });
  reg("simdjson_and_crc", [&](benchmark::State& state) { parse_barely(state, journal); });
  reg("append",
      [&](benchmark::State& state) { append_with_the_writer(state, records, records.size() + 1); });
  reg("append_and_commit", [&](benchmark::State& state) {
    append_with_the_writer(state, records, 3 * committed_trials);
  });
  reg("write_each_line", [&](benchmark::State& state) { write_plainly(state, records); });
  KeepingReporter reporter;
  benchmark::RunSpecifiedBenchmarks(&reporter);
  fmt::print("read_journal / simdjson_and_crc: time ratio {:.2f}, goal at most 1.5\n",
             reporter.ratio("read_journal", "simdjson_and_crc"));
  fmt::print("append / write_each_line: rate ratio {:.2f} (no commit)\n",
             reporter.ratio("write_each_line", "append"));
  fmt::print("append_and_commit / write_each_line: rate ratio {:.2f}, goal at least 0.8\n",
             reporter.ratio("write_each_line", "append_and_commit"));
  return 0;
}

}  // namespace
}  // namespace plexor::journal

int main(int argc, char** argv) { return plexor::journal::run(argc, argv); }
