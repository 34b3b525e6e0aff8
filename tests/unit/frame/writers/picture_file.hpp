// TIFF, PNG and JPEG with EXIF for tests, written by OpenCV and Exiv2.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace polewright::test {

struct PictureFile {
  int width = 16, height = 12, colours = 1;
  int bits = 16;                ///< 8, 16, or 32 for float
  std::vector<double> samples;  ///< width·height·colours, colours interleaved in the order blue, green, red
  std::map<std::string, std::string> exif;  ///< Exiv2 key -> value text, e.g. "Exif.Photo.FNumber" -> "28/10"
};

/// The format follows the extension of the name.
void write_picture(const std::filesystem::path& path, const PictureFile& file);

}  // namespace polewright::test
