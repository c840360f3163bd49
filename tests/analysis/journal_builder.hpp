#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "analysis/analyse.hpp"

namespace plexor::analysis {

using namespace std::chrono_literals;

/// Says what happened in a run, one verb a happening, and analyses it. The world:
/// an oak counter in a ceramics workshop, devices that should hear the rhythm
/// `call` (two knocks 190 ms apart at 0.9 m/s, answered within 1200 ms) and
/// ignore `mug-down`. Verbs after knock() or quiet() speak of that trial. Trials
/// begin 3 s after one another.
class JournalBuilder {
 public:
  static constexpr std::uint32_t call = 0;  ///< index of the rhythm, and of its block
  static constexpr std::uint32_t mug_down = 1;
  static constexpr std::uint32_t quiet_block = 2;

  // What the header says; before the first happening.
  JournalBuilder& accept(const std::string& limit);  ///< a line of [accept]
  JournalBuilder& plans(std::uint32_t calls);        ///< else as many as are presented
  JournalBuilder& with_reference_taps();
  JournalBuilder& devices(const std::vector<std::string>& names);
  /// Of the one device.
  JournalBuilder& listeners(const std::vector<journal::ListenerFacts>& facts);
  JournalBuilder& uncalibrated();
  JournalBuilder& contact_not_sensed();  ///< the contacts of the journal are no measurement
  JournalBuilder& lifted();
  JournalBuilder& began(const journal::Segment& segment);  ///< else in virtual time
  JournalBuilder& on(const journal::Host& host);           ///< else no word of it

  // What happened.
  JournalBuilder& knock(std::uint32_t rhythm = call);
  JournalBuilder& again();  ///< presents the last trial once more, as the next attempt
  JournalBuilder& quiet(base::Duration length);
  JournalBuilder& reference_taps();
  JournalBuilder& strike(double m_s);
  /// Counted from the last planned contact; in quiet from its begin.
  JournalBuilder& heard(const std::string& name, base::Duration after, std::uint32_t device = 0,
                        std::uint32_t listener = 0);
  [[nodiscard]] base::Instant begun() const { return current_->planned.start; }
  JournalBuilder& sensed_late_by(base::Duration delay);  ///< all contacts
  JournalBuilder& voided(base::VoidReason reason);
  JournalBuilder& never_done();
  JournalBuilder& transit(base::Duration each);  ///< of its taps, measured
  JournalBuilder& coil(double degrees_c);
  JournalBuilder& meanwhile(journal::Record record);   ///< told before it is done
  JournalBuilder& shift();                             ///< the reference taps just done had moved
  JournalBuilder& unheard_for(base::Duration length);  ///< as is noticed now
  JournalBuilder& restart();
  JournalBuilder& restart(const journal::Segment& segment);
  JournalBuilder& tell(journal::Record record);  ///< after the trial
  [[nodiscard]] base::Instant now();             ///< when the next trial begins
  JournalBuilder& restart_unrecorded();          ///< the line that began the segment is lost
  JournalBuilder& ended(journal::Ended::Reason reason = journal::Ended::Reason::complete);
  JournalBuilder& damaged(std::uint64_t line, bool torn_tail = false);

  /// `trials` knocks with `hits` answers after 400 ms, then the end.
  JournalBuilder& hears(std::uint64_t hits, std::uint64_t trials);

  [[nodiscard]] Results results(const std::function<void(const TrialRow&)>& row = {},
                                bool is_live = false);

 private:
  struct Current {
    journal::TrialPlanned planned;
    std::vector<base::Event> heard;
    std::vector<journal::Record> meanwhile;
    base::Duration transit{};
    base::Duration contact_delay{};
    std::optional<base::VoidReason> void_reason;
    bool done = true;
  };
  void present(base::Trial trial);
  void close();
  void append(journal::Record record);
  [[nodiscard]] std::string scenario_text() const;
  [[nodiscard]] base::Instant last_contact() const;

  journal::Header header_{.rig = {.name = "oak counter rig",
                                  .simulated = true,
                                  .calibrated = true,
                                  .contact_sensed = true,
                                  .devices = {{.name = "panel", .version = "1.4"}}}};
  journal::Segment first_segment_{.boot_id = "virtual"};
  std::optional<journal::Host> host_;
  std::string accept_;
  std::uint32_t planned_calls_ = 1;
  bool reference_ = false;
  std::vector<journal::Entry> entries_;
  journal::ReadSummary reading_;
  std::map<std::uint32_t, std::uint32_t> next_number_;  ///< by block
  std::optional<Current> current_;
  base::Trial last_;
  base::Instant now_ = base::segment_start + 1s;
};

}  // namespace plexor::analysis
