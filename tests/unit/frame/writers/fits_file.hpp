// Small FITS files for tests, written with cfitsio.
#pragma once

#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace polewright::test {

struct FitsFile {
  int bitpix = 16;  ///< 8, 16, 32, 64, -32, -64
  long width = 16, height = 12;
  int planes = 1;
  double bzero = 0.0, bscale = 1.0;
  std::vector<double> physical;  ///< width·height·planes values; NaN becomes BLANK (integers) or NaN
  long blank = 0;                ///< written as BLANK when `has_blank`
  bool has_blank = false;
  bool compressed = false;    ///< Rice tiles of one row, as the compression convention's default
  bool in_extension = false;  ///< behind a primary HDU without data, which then holds the cards
  /// Cards 'KEYWORD = value' as they shall stand in the file, value quoted where it is a text.
  std::vector<std::pair<std::string, std::string>> cards;
};

/// Writes the file anew; throws when cfitsio refuses.
void write_fits(const std::filesystem::path& path, const FitsFile& file);

}  // namespace polewright::test
