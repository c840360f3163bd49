#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "analysis/history/run_figures.hpp"
#include "archive/archive.hpp"

// What the contract needs: each program that runs it links one engine's bench.

namespace plexor::archive {

/// Where nothing is yet; gone at the program's end.
Address fresh_archive();

/// Brings the database's own knowledge of its tables up to date, as engines do by and by.
void analyse_tables(Archive& archive);

/// Figures such as no run gives, but a history must keep: odd texts, infinities, the largest
/// numbers.
analysis::RunFigures random_run(std::uint64_t seed);

/// One device, a plain night.
analysis::RunFigures plain_run(const std::string& id, const std::string& night = "2026-06-11");

/// Each in a process of its own, all at once; waits for them. How many of them failed.
int failed_of(const std::vector<std::function<void()>>& processes);

}  // namespace plexor::archive
