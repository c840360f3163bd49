// The same circuits in ngspice, run now, with other values than the recorded traces have.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <string>

#include "physics/recorded_trace.hpp"
#include "virtual/physics/piezo.hpp"
#include "virtual/physics/plate.hpp"
#include "virtual/physics/solenoid.hpp"

namespace plexor::physics {
namespace {

using namespace std::chrono_literals;

constexpr double pi = 3.14159265358979323846;
/// A silicon diode of the 1N400x class, generic textbook parameters.
constexpr const char* diode_model =
    ".model DGEN D(IS=14.11n N=1.984 RS=33.89m CJO=25.89p VJ=0.3245 M=0.44 BV=1000)\n";

class Ngspice : public testing::Test {
 protected:
  void SetUp() override {
    if (std::system("command -v ngspice >/dev/null 2>&1") != 0) {
      GTEST_SKIP() << "ngspice is not installed: Debian package ngspice";
    }
  }

  /// Simulates and returns time and one output.
  static RecordedTrace simulate(const std::string& circuit, const std::string& transient,
                                const std::string& output) {
    const std::string stem =
        testing::TempDir() + testing::UnitTest::GetInstance()->current_test_info()->name();
    std::ofstream(stem + ".cir") << "* live check\n"
                                 << circuit
                                 << ".options reltol=1e-6 abstol=1e-12 vntol=1e-8 method=gear\n"
                                 << ".control\ntran " << transient << "\nset wr_singlescale\n"
                                 << "set wr_vecnames\nwrdata " << stem << ".raw " << output
                                 << "\nquit\n.endc\n.end\n";
    const std::string command = "ngspice -b " + stem + ".cir >" + stem + ".log 2>&1";
    EXPECT_EQ(std::system(command.c_str()), 0) << "see " << stem << ".log";
    std::ifstream in(stem + ".raw");
    return read_trace(in);
  }
};

/// Current source for q = Q sin(pi (t - 1 ms)/T) in 1 ms to 1 ms + T.
std::string half_sine_source(const std::string& charge, const std::string& width,
                             const std::string& end) {
  return "B1 0 p I = (time > 1m) && (time < " + end + ") ? " + charge + "*3.14159265358979/" +
         width + "*cos(3.14159265358979*(time-1m)/" + width + ") : 0\n";
}

double half_sine_c(double charge_c, double width_s, double time_s) {
  return time_s <= 0.0 || time_s >= width_s ? 0.0 : charge_c * std::sin(pi * time_s / width_s);
}

TEST_F(Ngspice, AgreesOnACoilOf8Ohm25MilliHenryAnd12VoltZener) {
  const RecordedTrace spice = simulate(
      std::string("V1 vs 0 DC 9\nVC c 0 PWL(0 1 15m 1 15.002m 0 1 0)\nS1 vs a c 0 SWI ON\n"
                  ".model SWI SW(VT=0.5 VH=0.1 RON=1m ROFF=10MEG)\nVM a b DC 0\nR1 b n1 8.2\n"
                  "L1 n1 0 25m IC=0\nD1 z a DGEN\nVZ 0 z DC 12\nRP a 0 10MEG\n") +
          diode_model,
      "20u 30m 0 5u uic", "i(VM)");
  Solenoid coil;
  coil.resistance_20c_ohm = 8.2;
  coil.leakage_h = 0.025;
  coil.gap_inductance_h_m = 0.0;
  coil.clamp_v = 12.9;
  TapTrace trace{.every = 1, .points = {}};
  (void)tap(coil, {.pulse = 15ms, .coil_mdegc = 20'000, .supply_mv = 9'000}, &trace);
  const double full_scale = 9.0 / 8.2;
  ASSERT_GT(trace.points.size(), 300U);
  for (const TracePoint& point : trace.points) {
    EXPECT_NEAR(point.current_a, spice.at(point.time_s), 0.02 * full_scale) << point.time_s;
  }
}

TEST_F(Ngspice, AgreesOnADiscOf33NanoFaradUnderALongerPulse) {
  const RecordedTrace spice =
      simulate(half_sine_source("60n", "1.2m", "2.2m") + "C1 p 0 33n IC=0\nR1 p 0 220k\n",
               "5u 12m 0 1u uic", "v(p)");
  const DiscCircuit circuit{.capacitance_f = 33e-9, .bleed_ohm = 220e3};
  const double full_scale = half_sine_peak_v(circuit, 60e-9, 1.2e-3);
  for (double time_s = 0.0; time_s < 10e-3; time_s += 20e-6) {
    EXPECT_NEAR(half_sine_voltage_v(circuit, 60e-9, 1.2e-3, time_s), spice.at(1e-3 + time_s),
                0.01 * full_scale)
        << time_s;
  }
}

TEST_F(Ngspice, AgreesOnADiscThatIsClampedThroughAResistor) {
  // Nearly ideal diodes (emission coefficient 0.01), so that the rails are 2.5 V sharp.
  const RecordedTrace spice =
      simulate(half_sine_source("400n", "0.8m", "1.8m") +
                   "C1 p 0 22n IC=0\nR1 p 0 680k\nRS p q 33k\nD1 q h DI\nD2 l q DI\nVH h 0 2.5\n"
                   "VL l 0 -2.5\n.model DI D(IS=1n N=0.01)\n",
               "5u 12m 0 1u uic", "v(p)");
  const DiscCircuit circuit{.capacitance_f = 22e-9, .bleed_ohm = 680e3};
  constexpr double step_s = 5e-6;
  const DiscStepper stepper(circuit, step_s,
                            Clamp{.series_ohm = 33e3, .low_v = -2.5, .high_v = 2.5});
  const double full_scale = 400e-9 / 22e-9;
  double disc_v = 0.0;
  for (int i = 0; i < 2000; ++i) {
    const double from = i * step_s - 1e-3;
    disc_v = stepper.after(
        disc_v, half_sine_c(400e-9, 0.8e-3, from + step_s) - half_sine_c(400e-9, 0.8e-3, from));
    EXPECT_NEAR(disc_v, spice.at((i + 1) * step_s), 0.01 * full_scale) << from;
  }
}

TEST_F(Ngspice, AgreesOnHowAModeOfThisLossFactorRingsDown) {
  // A series circuit rings as a mode does: f = 1/(2 pi sqrt(L C)), loss factor R sqrt(C/L).
  const RecordedTrace spice =
      simulate("C1 a 0 10u IC=1\nL1 a b 0.4 IC=0\nR1 b 0 6\n", "20u 100m 0 5u uic", "v(a)");
  const double hz = 1.0 / (2.0 * pi * std::sqrt(0.4 * 10e-6));
  const double loss = 6.0 * std::sqrt(10e-6 / 0.4);
  const double decay_s = amplitude_decay_s(hz, loss);
  const double damped_hz = hz * std::sqrt(1.0 - 0.25 * loss * loss);
  for (int period = 1; period <= 7; ++period) {
    const double time_s = period / damped_hz;
    EXPECT_NEAR(spice.at(time_s), std::exp(-time_s / decay_s), 0.005) << period;
  }
}

}  // namespace
}  // namespace plexor::physics
