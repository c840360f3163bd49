#pragma once

#include <pty.h>

#include <ctime>
#include <memory>

#include "faults.hpp"
#include "warden/coil_witness.hpp"

namespace plexor {

namespace fs = std::filesystem;

/// A folder with a rig of lines, its simulation, and leave to tap with it:
/// everything by the real programs, as a user has it.
class AttackBench {
 public:
  explicit AttackBench(const std::string& plexor) : plexor_(plexor), folder_(make_folder()) {
    heal_sensor();
    write_rig();
    write_scenario();
    simulation_ = std::make_unique<Program>(std::vector<std::string>{plexor_, "simulate", rig()},
                                            folder_ / "simulate.txt");
    if (!comes_true(std::chrono::seconds{20}, [&] { return fs::exists(folder_ / "panel"); })) {
      throw std::runtime_error("no simulation: " + text_of(folder_ / "simulate.txt"));
    }
    ticket_ = make_ticket();
    witness_ = std::make_unique<CoilWitness>(chip(), coil_sense);
  }
  ~AttackBench() {
    witness_.reset();
    simulation_.reset();
    fs::remove_all(folder_);
  }
  AttackBench(const AttackBench&) = delete;
  AttackBench& operator=(const AttackBench&) = delete;

  /// A run that has leave and taps as fast as it may.
  [[nodiscard]] std::unique_ptr<Program> start_run() {
    heal();
    fs::remove_all(folder_ / "run");
    return std::make_unique<Program>(
        std::vector<std::string>{plexor_, "run", (folder_ / "scenario.toml").string(), "--rig",
                                 rig(), "--out", (folder_ / "run").string()},
        folder_ / "run.txt");
  }

  [[nodiscard]] Scene scene(Program& controller) {
    return {*simulation_, controller, child_named(controller.process(), "plexor-warden"),
            folder_ / "coil-sensor", frozen_};
  }
  /// Both processes end, whatever state they are in.
  void bury(const Scene& scene) {
    ::kill(scene.warden, SIGKILL);
    scene.controller.signal(SIGKILL);
    for (const pid_t thread : std::exchange(frozen_, {})) {
      if (thread != scene.controller.process()) wait_for_end(thread);
    }
    wait_for_end(scene.controller.process());
  }
  [[nodiscard]] CoilWitness& witness() { return *witness_; }
  [[nodiscard]] std::string said() const { return text_of(folder_ / "run.txt"); }
  [[nodiscard]] const fs::path& folder() const { return folder_; }
  [[nodiscard]] std::string chip() const { return (folder_ / "chip").string(); }
  [[nodiscard]] bool ticket_is_there() const { return fs::exists(ticket_file()); }

 private:
  static constexpr std::uint32_t coil_sense = 2;

  static fs::path make_folder() {
    std::string name = (fs::temp_directory_path() / "plexor-attack-XXXXXX").string();
    if (mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
    return name;
  }
  [[nodiscard]] std::string rig() const { return (folder_ / "rig.toml").string(); }
  [[nodiscard]] fs::path ticket_file() const {
    return folder_ / "state/plexor/tickets/simulated_20oak_20counter_2c_20live.toml";
  }

  void heal_sensor() const { std::ofstream(folder_ / "coil-sensor") << "31000\n"; }
  /// What the fault before has left is mended, and leave given anew, as a person would. The coil
  /// of a run that was killed would be taken as hot: here it is known to have stayed cool.
  void heal() const {
    for (const char* deed : {"loop close", "lid close", "cable in"}) simulation_->type(deed);
    heal_sensor();
    fs::create_directories(ticket_file().parent_path());
    std::ofstream(ticket_file()) << ticket_;
    std::ofstream(folder_ / "chip-coil.toml") << cold_coil_;
  }

  void write_rig() {
    std::string text = text_of(PLEXOR_SOURCE_DIR "/rig/simulate-oak.toml");
    const auto replace = [&](const std::string& passage, const std::string& instead) {
      const auto at = text.find(passage);
      if (at == std::string::npos) throw std::logic_error("no passage: " + passage);
      text.replace(at, passage.size(), instead);
    };
    replace("/tmp/plexor-oak/chip", chip());
    replace("/tmp/plexor-oak/panel", (folder_ / "panel").string());
    replace("[tapper.coil]\n",
            "[tapper.coil]\nsensor_file = \"" + (folder_ / "coil-sensor").string() + "\"\n");
    std::ofstream(rig()) << text;
  }
  void write_scenario() const {
    std::ofstream(folder_ / "scenario.toml") << R"([scenario]
name = "attack"
purpose = "regression"
seed = 7
[rhythm.help]
contacts_ms = [0, 70, 140, 210, 280]
[jitter]
model = "none"
[[block]]
rhythm = "help"
trials = 500
strike_m_s = 0.9
window_ms = 100
gap_ms = [120, 121]
)";
  }

  static std::string end_of_leave() {
    const std::time_t in_three_days = std::time(nullptr) + 3 * 24 * 3600;
    std::string text(16, ' ');
    (void)std::strftime(text.data(), text.size() + 1, "%Y-%m-%d %H:%M",
                        std::localtime(&in_three_days));
    return text;
  }

  /// By the real command, on a terminal, with a key press.
  std::string make_ticket() {
    int terminal = -1;
    const pid_t child = forkpty(&terminal, nullptr, nullptr, nullptr);
    if (child == 0) {
      setenv("XDG_STATE_HOME", (folder_ / "state").c_str(), 1);
      execl(plexor_.c_str(), plexor_.c_str(), "arm", "--rig", rig().c_str(), "--until",
            end_of_leave().c_str(), nullptr);
      _exit(127);
    }
    std::string shown;  // a key that is pressed before the question is no answer
    for (char one = 0; shown.find("Press Enter") == std::string::npos;) {
      if (read(terminal, &one, 1) != 1) throw std::runtime_error("no question: " + shown);
      shown += one;
    }
    if (write(terminal, "\n", 1) != 1) throw std::runtime_error("no terminal");
    comes_true(std::chrono::seconds{10}, [this] { return fs::exists(ticket_file()); });
    close(terminal);
    waitpid(child, nullptr, 0);
    cold_coil_ = text_of(folder_ / "chip-coil.toml");
    return text_of(ticket_file());
  }

  /// A traced thread tells its tracer of stops before its end.
  static void wait_for_end(pid_t thread) {
    int status = 0;
    while (waitpid(thread, &status, __WALL) == thread && WIFSTOPPED(status)) {
    }
  }

  std::string plexor_;
  fs::path folder_;
  std::unique_ptr<Program> simulation_;
  std::string ticket_;
  std::string cold_coil_;
  std::unique_ptr<CoilWitness> witness_;
  std::vector<pid_t> frozen_;
};

}  // namespace plexor
