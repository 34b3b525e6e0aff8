// Runs the built program as a user would.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace polewright::test {

struct Run {
  int status = -1;  ///< exit status; 128 + signal when it died of one
  std::string out, err;
};

/// Runs build/polewright with these arguments (no shell), in an empty HOME so that no config of the developer counts.
Run run_program(const std::vector<std::string>& arguments);

/// A file's bytes; empty when it cannot be read.
std::string read_file(const std::filesystem::path& file);

/// A fresh empty folder that goes away with the test program's temporary folder.
std::string scratch_folder(const std::string& name);

}  // namespace polewright::test
