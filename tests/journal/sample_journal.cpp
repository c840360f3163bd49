#include "journal/sample_journal.hpp"

#include <stdlib.h>

#include <fstream>
#include <iterator>

#include "base/error.hpp"
#include "base/random.hpp"
#include "journal/frame.hpp"

namespace plexor::journal {
namespace {

using namespace std::chrono_literals;

constexpr base::Instant at(base::Duration since_start) { return base::Instant{since_start}; }

Header sample_header() {
  return {.format = format_version,
          .plexor_version = "0.1.0",
          .seed = 18446744073709551615U,
          .lifted = false,
          .scenario_file = "release.toml",
          .scenario_text = "[scenario]\nname = \"oak\"\n",
          .rig_file = "bench.toml",
          .rig_text = "surface = \"h\xc3\xaatre\"\n",
          .calibration_file = "oak.toml",
          .calibration_text = "format = 1\n",
          .rig = {.name = "bench",
                  .simulated = true,
                  .calibrated = true,
                  .moving_mass_ug = 12'000'000,
                  .contact_sensed = false,
                  .transit_sd = 120us,
                  .calibration_date = "2026-06-01",
                  .surface = "oak counter",
                  .spot = "A1",
                  .mounting = "tape",
                  .devices = {{.name = "unit-1",
                               .version = "1.4",
                               .line_time = 1ms,
                               .pattern_end_gap = 400ms,
                               .listeners = {{.name = "serial",
                                              .place = "port /dev/ttyUSB0",
                                              .arrival_width = 16ms},
                                             {.name = "broker",
                                              .place = "topic knock at 127.0.0.1:1883",
                                              .arrival_width = 100us}},
                               .position = "left edge",
                               .at = base::SurfacePoint{390'000, 170'000}}},
                  .channels = {{"converter", 0, 8000, 0, 4095, "LSB"},
                               {"accelerometer", {}, 20'000, -32'768, 32'767, "mV"}}}};
}

TrialPlanned sample_trial() {
  TrialPlanned planned;
  planned.trial.id = {0, 17, 1};
  planned.trial.rhythm = 2;
  planned.trial.taps = {{0ns, {901'234}}, {190'123'456ns, {899'876}}};
  planned.trial.window = 1200ms;
  planned.trial.gap = 2s;
  planned.start = at(60s);
  planned.pulses = {{at(59'991'800us), 8'200us}, {at(60'181'900us), 8'190us}};
  planned.coil_mc = 24'750;
  return planned;
}

Heard sample_event() {
  Heard event = heard("call", at(60'712'345us));
  event.event.device = 0;
  event.event.device_time = 4'711ms;
  event.event.strength = 0.625;
  event.event.listener = 1;
  return event;
}

TrialDone sample_done() {
  return {{0, 17, 1},
          at(61'390'123us),
          {{at(59'991'801us), 8'201us}, {at(60'181'902us), 8'192us}},
          {at(60'000'010us), at(60'190'140us)},
          base::VoidReason::re_strike};
}

TrialPlanned sample_quiet() {
  TrialPlanned planned;
  planned.trial.id = {2, 0, 0};
  planned.trial.kind = base::TrialKind::quiet;
  planned.trial.window = 4h;
  planned.start = at(70s);
  planned.coil_mc = 21'000;
  return planned;
}

/// A stream of keyed draws for one record.
class Draws {
 public:
  Draws(std::uint64_t seed, std::uint32_t number) : key_{.seed = seed, .trial = number} {}

  std::int64_t between(std::int64_t low, std::int64_t high) {
    ++key_.tap;
    return base::uniform_between(key_, low, high);
  }
  std::uint32_t word() { return static_cast<std::uint32_t>(between(0, 0xffffffff)); }
  std::int32_t offset() {
    return static_cast<std::int32_t>(between(-max_utc_offset_s, max_utc_offset_s));
  }
  bool coin() { return between(0, 1) == 1; }
  base::Duration duration() { return base::Duration{between(-max_run_ns, max_run_ns)}; }
  base::Instant instant() { return base::Instant{duration()}; }
  std::string text() {
    static constexpr std::array<std::string_view, 10> pieces{"mug",
                                                             "\"",
                                                             "\\",
                                                             "\n",
                                                             "\x01",
                                                             "\x7f",
                                                             "\xc3\xa9",
                                                             "\xe2\x82\xac",
                                                             "\xf0\x9f\x94\xa8",
                                                             std::string_view{"\0", 1}};
    std::string text;
    for (auto left = between(0, 6); left > 0; --left) {
      text += pieces[static_cast<std::size_t>(between(0, 9))];
    }
    return text;
  }
  base::TrialId id() { return {word(), word(), word()}; }
  template <typename Make>
  auto some(Make make) {
    std::vector<decltype(make())> items;
    for (auto left = between(0, 5); left > 0; --left) items.push_back(make());
    return items;
  }
  std::vector<base::Pulse> pulses() {
    return some([this] { return base::Pulse{instant(), duration()}; });
  }

 private:
  base::DrawKey key_;
};

Record random_trial(Draws& draws) {
  TrialPlanned planned;
  planned.trial.id = draws.id();
  planned.trial.kind = static_cast<base::TrialKind>(draws.between(0, 2));
  if (planned.trial.kind == base::TrialKind::rhythm) planned.trial.rhythm = draws.word();
  planned.trial.taps = draws.some([&] {
    return base::Tap{draws.duration(), {.um_s = draws.between(0, max_strike_um_s)}};
  });
  planned.trial.window = draws.duration();
  planned.trial.gap = draws.duration();
  planned.start = draws.instant();
  planned.pulses = draws.pulses();
  planned.coil_mc = static_cast<std::int32_t>(draws.between(-2147483648, 2147483647));
  return planned;
}

Record random_done(Draws& draws) {
  TrialDone done{.id = draws.id(),
                 .end = draws.instant(),
                 .actual = draws.pulses(),
                 .contacts = draws.some([&] { return draws.instant(); }),
                 .void_reason = {}};
  if (draws.coin()) {
    done.void_reason = base::all_void_reasons[static_cast<std::size_t>(draws.between(0, 6))];
  }
  return done;
}

Record random_event(Draws& draws) {
  Heard heard{{.device = draws.word(),
               .name = draws.text(),
               .arrival = draws.instant(),
               .device_time = {},
               .strength = {}}};
  if (draws.coin()) heard.event.device_time = draws.duration();
  if (draws.coin()) {
    heard.event.strength = static_cast<double>(draws.between(-1'000'000'000, 1'000'000'000)) /
                           static_cast<double>(draws.between(1, 1'000'000));
  }
  return heard;
}

class MemorySink final : public Sink {
 public:
  MemorySink(MemoryFile& file, Faults faults) : file_(file), faults_(faults) {}

  void write(std::string_view bytes) override {
    if (file_.writes++ == faults_.write) throw base::RigFault("disk: write failed");
    const std::size_t room = faults_.bytes - file_.bytes.size();
    file_.bytes += bytes.substr(0, room);
    if (bytes.size() > room) throw base::RigFault("disk: full");
  }
  void sync() override {
    if (file_.syncs++ == faults_.sync) throw base::RigFault("disk: sync failed");
  }

 private:
  MemoryFile& file_;
  Faults faults_;
};

}  // namespace

std::vector<Record> sample_records() {
  std::vector<Record> records;
  records.emplace_back(sample_header());
  records.emplace_back(Host{"2026-06-11T22:04:05Z", "bench-pi", "Linux 6.1.0 aarch64",
                            "SCHED_FIFO 55", "3f0c6d1e-8a52-4c1b-9d57-0b6f5e2a7c44"});
  records.emplace_back(Segment{"virtual", 0, 1'781'215'445'000'000'000, 7'200});
  records.emplace_back(sample_trial());
  records.emplace_back(sample_event());
  records.emplace_back(sample_done());
  records.emplace_back(sample_quiet());
  records.emplace_back(heard("tick \xf0\x9f\x94\xa8", at(90s)));
  records.emplace_back(ListenerState{0, false, at(91s)});
  records.emplace_back(ReferenceShift{at(92s), -150us, 40});
  records.emplace_back(LeaveEnded{"tripped: lid", at(93s)});
  records.emplace_back(Moved{3, at(93'500ms)});
  records.emplace_back(RawLine{0, "knock call 4711", at(94s)});
  records.emplace_back(ClockSet{at(94'100ms), 1'781'215'600'000'000'000, 3'600});
  records.emplace_back(LeaveGiven{at(94'200ms)});
  records.emplace_back(Disturbance{"kiln door", "hand", at(80s), at(94'300ms), at(95s)});
  records.emplace_back(PowerCycle{0, "12 knocks in a row unanswered", at(94'400ms)});
  records.emplace_back(Ended{Ended::Reason::fault, "coil at 91.0 degC; limit 90", at(95s)});
  return records;
}

Heard heard(std::string name, base::Instant at) {
  return {{.device = 1, .name = std::move(name), .arrival = at, .device_time = {}, .strength = {}}};
}

Record random_record(std::uint64_t seed, std::uint32_t number) {
  Draws draws(seed, number);
  switch (draws.between(0, 14)) {
    case 0: return random_trial(draws);
    case 1: return random_done(draws);
    case 2: return random_event(draws);
    case 3: return Host{draws.text(), draws.text(), draws.text(), draws.text(), draws.text()};
    case 4:
      return Segment{draws.text(), draws.between(-max_system_ns, max_system_ns),
                     draws.between(-max_system_ns, max_system_ns), draws.offset()};
    case 14: return PowerCycle{draws.word(), draws.text(), draws.instant()};
    case 13:
      return Disturbance{draws.text(), draws.text(), draws.instant(), draws.instant(),
                         draws.instant()};
    case 12: return LeaveGiven{draws.instant()};
    case 11:
      return ClockSet{draws.instant(), draws.between(-max_system_ns, max_system_ns),
                      draws.offset()};
    case 10: return Moved{draws.word(), draws.instant()};
    case 9: return RawLine{draws.word(), draws.text(), draws.instant()};
    case 5: return ListenerState{draws.word(), draws.coin(), draws.instant()};
    case 6: return ReferenceShift{draws.instant(), draws.duration(), draws.word()};
    case 7: return LeaveEnded{draws.text(), draws.instant()};
    default:
      return Ended{static_cast<Ended::Reason>(draws.between(0, 3)), draws.text(), draws.instant()};
  }
}

std::string journal_of(const std::vector<Record>& records) {
  std::string bytes;
  for (std::size_t i = 0; i < records.size(); ++i) append_line(bytes, i, records[i]);
  return bytes;
}

std::string framed(std::string_view members) {
  std::string line;
  open_line(line);
  line += members;
  close_line(line, 0);
  return line;
}

ReadJournal read_all(std::string_view bytes) {
  ReadJournal read;
  read.summary = read_journal_bytes(bytes, "sample.jsonl",
                                    [&](const Entry& entry) { read.entries.push_back(entry); });
  return read;
}

ReadJournal read_file(const std::filesystem::path& path) {
  ReadJournal read;
  read.summary = read_journal(path, [&](const Entry& entry) { read.entries.push_back(entry); });
  return read;
}

std::string bytes_of(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

void write_bytes(const std::filesystem::path& path, std::string_view bytes) {
  std::ofstream(path, std::ios::binary) << bytes;
}

TestFolder::TestFolder() {
  std::string pattern = std::filesystem::temp_directory_path() / "plexor-journal-XXXXXX";
  if (::mkdtemp(pattern.data()) == nullptr) throw std::runtime_error("no temporary folder");
  path_ = pattern;
}

TestFolder::~TestFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::unique_ptr<Sink> memory_sink(MemoryFile& file, Faults faults) {
  return std::make_unique<MemorySink>(file, faults);
}

}  // namespace plexor::journal
