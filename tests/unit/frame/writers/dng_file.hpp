// Minimal uncompressed DNG and TIFF/EP-like files for tests, written byte by byte so that every tag is under control
// (Adobe Digital Negative specification 1.4; TIFF 6.0).
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace polewright::test {

struct DngFile {
  int width = 32, height = 24;
  std::vector<std::uint16_t> samples;           ///< width·height·(linear ? 3 : 1)
  std::array<std::uint8_t, 4> cfa{0, 1, 1, 2};  ///< 0 red, 1 green, 2 blue
  std::vector<std::uint8_t> cfa_large;          ///< 6×6 pattern instead of the 2×2 one
  bool linear = false;                          ///< three linear colours instead of a filter pattern
  std::vector<std::uint16_t> black;             ///< none, 1, or 4 values of a 2×2 pattern
  std::optional<std::uint32_t> white;
  std::array<std::uint32_t, 4> active_area{};  ///< top, left, bottom, right; all 0: not written
  std::string make = "Testmaker", model = "Testmaker One", lens = "Test 50mm f/2";
  std::string date_time_original, offset_time_original, sub_seconds;
  std::array<std::uint32_t, 2> exposure{0, 0}, f_number{0, 0}, focal_length{0, 0};
  double focal_plane_px_per_cm = 0.0;
  int iso = 0;
};

void write_dng(const std::filesystem::path& path, const DngFile& file);

}  // namespace polewright::test
