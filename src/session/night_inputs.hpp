// What was typed -> the files that are frames, each exposure once.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "polewright/result.hpp"

namespace polewright::session {

/// One exposure: the file to measure, and others of the same exposure (the JPEG beside a raw).
struct NightInput {
  std::filesystem::path file;
  std::vector<std::filesystem::path> companions;
};

struct NightInputs {
  std::vector<NightInput> exposures;  ///< by folder and name, numbers in names counted as numbers
  std::size_t other_files = 0;        ///< in the folders, and no frames
  std::vector<std::string> warnings;
};

/// Files are taken as given; folders are searched for frames; a path that does not exist is tried as a pattern with
/// wildcards. Hidden files are left out of folders. What is not there or may not be read is told in the warnings.
/// Error: file_missing when no frame is left.
[[nodiscard]] Result<NightInputs> collect_inputs(const std::vector<std::filesystem::path>& typed, bool recursive);

/// How near a file is to what the sensor recorded, by its name: 0 raw, 1 FITS, 2 other pictures, 3 JPEG.
[[nodiscard]] int rank_of(const std::filesystem::path& file);
/// ASCII letters made small: one camera writes IMG_1.DNG and img_1.jpg.
[[nodiscard]] std::string lower(std::string text);

/// Order of names in which frame_9 stands before frame_10.
[[nodiscard]] bool natural_less(const std::string& a, const std::string& b);

}  // namespace polewright::session
