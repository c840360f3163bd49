// Compares the code with published and independently computed values: every row of every *.csv in
// PLEXOR_REFERENCE_DIR (else this folder) whose quantity the code has.

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cstdlib>
#include <exception>
#include <filesystem>
#include <set>

#include "reference/reference_check.hpp"
#include "reference/reference_row.hpp"

namespace plexor::reference {
namespace {

struct Tally {
  std::size_t agree = 0;
  std::size_t differ = 0;
  std::size_t not_covered = 0;
  std::set<std::string> quantities_not_covered;
};

std::vector<Handler> all_handlers() {
  std::vector<Handler> all;
  for (auto* table : {binomial_handlers, poisson_handlers, proportion_handlers, two_sample_handlers,
                      multiplicity_handlers, quantile_handlers, sequential_handlers,
                      matching_handlers, generator_handlers, physics_handlers, uncertainty_handlers,
                      response_handlers, trend_handlers})
    for (const Handler& handler : table()) all.push_back(handler);
  return all;
}

bool check(const Handler& handler, const Row& row) {
  std::string found;
  try {
    const Answer answer = handler.answer(row.inputs);
    if (agrees(answer, row)) return true;
    found = to_text(answer);
  } catch (const base::InputError&) {
    throw;  // the row is at fault, not the code
  } catch (const std::exception& error) {
    found = fmt::format("the error \"{}\"", error.what());
  }
  fmt::print("{}: {} {} is {}, expected {}\n", to_text(row.place), row.check_id, row.quantity,
             found, row.expected);
  return false;
}

void check_file(const std::filesystem::path& file, const std::vector<Handler>& handlers,
                Tally& tally) {
  for (const Row& row : read_rows(file)) {
    const Handler* handler = find_handler(handlers, row);
    if (handler == nullptr) {
      ++tally.not_covered;
      tally.quantities_not_covered.insert(row.quantity);
    } else {
      ++(check(*handler, row) ? tally.agree : tally.differ);
    }
  }
}

int run() {
  const char* asked = std::getenv("PLEXOR_REFERENCE_DIR");
  const std::filesystem::path folder =
      asked != nullptr ? asked : PLEXOR_SOURCE_DIR "/tests/reference";
  const std::vector<Handler> handlers = all_handlers();
  Tally tally;
  for (const auto& file : csv_files(folder)) check_file(file, handlers, tally);
  fmt::print("{} rows agree, {} differ, {} not covered yet ({})\n", tally.agree, tally.differ,
             tally.not_covered,
             tally.not_covered == 0
                 ? "none"
                 : fmt::to_string(fmt::join(tally.quantities_not_covered, ", ")));
  return tally.differ == 0 && tally.agree > 0 ? 0 : 1;
}

}  // namespace
}  // namespace plexor::reference

int main() {
  try {
    return plexor::reference::run();
  } catch (const plexor::base::InputError& error) {
    fmt::print(stderr, "{}\n", error.what());
    return 2;
  }
}
