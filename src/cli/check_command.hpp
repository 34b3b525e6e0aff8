// `polewright check`: its options, and what it prints, lists, moves and returns.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "cli/options.hpp"

namespace polewright::cli {

struct CheckTyped {
  std::vector<std::string> paths, list, move_to, copy_to;
  std::string csv_file;
  bool recursive = false, all = false, null_separated = false, dry_run = false, fail_on_trailed = false,
       no_cache = false;
};

/// Adds the command with the options that only it has.
CLI::App* add_check(CLI::App& app, Typed& typed, CheckTyped& check);
[[nodiscard]] int run_check(const Typed& typed, const CheckTyped& check);

}  // namespace polewright::cli
