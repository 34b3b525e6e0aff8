// Do these files belong together? Checks before and after reading, each with one clear sentence.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "session/load.hpp"

namespace polewright::session {

/// At least two paths, none given twice.
[[nodiscard]] Status check_paths(const std::vector<std::filesystem::path>& paths);

/// Reads and measures all files, ordered by time. A file that cannot be read is an error when fewer than two others are
/// left, else a warning.
[[nodiscard]] Result<std::vector<MeasuredFrame>> load_all(const std::vector<std::filesystem::path>& paths,
                                                          const SessionOptions& options, const Progress& progress,
                                                          std::vector<std::string>& warnings);

/// Same size, same camera, not the same frame twice.
[[nodiscard]] Status check_together(const std::vector<MeasuredFrame>& frames);

}  // namespace polewright::session
