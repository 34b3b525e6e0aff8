#include <fmt/format.h>

#include <algorithm>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <span>

#include "frame/exif.hpp"
#include "frame/levels.hpp"
#include "frame/quantise.hpp"
#include "frame/quiet_stderr.hpp"
#include "frame/readers.hpp"

namespace polewright {
namespace {

std::vector<std::uint8_t> read_all(const std::filesystem::path& path) {
  std::vector<std::uint8_t> bytes(static_cast<std::size_t>(std::filesystem::file_size(path)));
  std::ifstream file(path, std::ios::binary);
  file.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
  bytes.resize(static_cast<std::size_t>(std::max<std::streamsize>(0, file.gcount())));
  return bytes;
}

/// Sets the orientation of a TIFF's first directory to upright: the decoder would turn the rows otherwise, whatever it
/// is told, and rows shall stay as stored.
void make_upright(std::vector<std::uint8_t>& tiff) {
  const bool little = tiff[0] == 'I';
  const auto number = [&](std::size_t at, std::size_t size) {
    std::size_t v = 0;
    for (std::size_t i = 0; i < size; ++i)
      v |= static_cast<std::size_t>(tiff[at + (little ? i : size - 1 - i)]) << (8 * i);
    return v;
  };
  if (tiff.size() < 16 || (tiff[2] != '*' && tiff[3] != '*')) return;
  const std::size_t directory = number(4, 4);
  if (directory + 2 > tiff.size()) return;
  const std::size_t entries = number(directory, 2);
  for (std::size_t at = directory + 2; at < directory + 2 + 12 * entries && at + 12 <= tiff.size(); at += 12) {
    if (number(at, 2) != 274) continue;
    tiff[at + (little ? 8 : 9)] = 1;
    tiff[at + (little ? 9 : 8)] = 0;
  }
}

/// Whether an end-of-image marker follows the last scan (ITU-T T.81, B.1.1.3). The decoder fills what is missing with
/// grey and says nothing.
bool jpeg_is_complete(std::span<const std::uint8_t> bytes) {
  for (std::size_t i = bytes.size(); i-- > 1;) {
    if (bytes[i - 1] != 0xFF) continue;
    if (bytes[i] == 0xD9) return true;
    if (bytes[i] == 0xDA) return false;
  }
  return false;
}

cv::Mat decode(std::vector<std::uint8_t>& bytes, FileKind kind) {
  if (kind == FileKind::tiff) make_upright(bytes);
  const QuietStderr quiet;
  // Unchanged keeps the depth; with it the orientation in EXIF is ignored.
  return cv::imdecode(bytes, cv::IMREAD_UNCHANGED);
}

/// One plane of the picture's colours, alpha left out. 8-bit colours are summed, because the mean of three has finer
/// steps than one; deeper ones are averaged in floating point.
template <class T, class Sum>
cv::Mat combine(const cv::Mat& picture) {
  const int channels = picture.channels(), colours = channels >= 3 ? 3 : 1;
  cv::Mat plane(picture.rows, picture.cols, cv::traits::Type<Sum>::value);
  for (int y = 0; y < picture.rows; ++y) {
    const T* from = picture.ptr<T>(y);
    Sum* to = plane.ptr<Sum>(y);
    for (int x = 0; x < picture.cols; ++x, from += channels) {
      Sum sum = 0;
      for (int c = 0; c < colours; ++c) sum = static_cast<Sum>(sum + from[c]);
      to[x] = sum;
    }
  }
  return plane;
}

void take_integers(const cv::Mat& plane, Frame& frame) {
  frame.pixels.assign(plane.ptr<std::uint16_t>(), plane.ptr<std::uint16_t>() + plane.total());
}

void take_reals(const cv::Mat& plane, Frame& frame) {
  cv::Mat real;
  plane.convertTo(real, CV_32F, 1.0 / frame.planes_combined);
  Quantised q = quantise(std::span<const float>(real.ptr<float>(), real.total()), plane.cols);
  frame.pixels = std::move(q.samples);
  frame.blank = std::move(q.blank);
  frame.zero = q.zero;
  frame.scale = q.scale;
  frame.black_level.fill(-q.zero / q.scale);
}

/// False when the sample type is none this program knows.
bool take_pixels(const cv::Mat& picture, Frame& frame) {
  frame.planes_combined = picture.channels() >= 3 ? 3 : 1;
  const bool one_plane = picture.channels() == 1;
  switch (picture.depth()) {
    case CV_8U:
      take_integers(combine<std::uint8_t, std::uint16_t>(picture), frame);
      frame.scale = 1.0 / frame.planes_combined;
      frame.white_level = 255.0 * frame.planes_combined;
      return true;
    case CV_16U:
      if (one_plane) {
        take_integers(picture, frame);
      } else {
        take_reals(combine<std::uint16_t, float>(picture), frame);
        frame.white_level = std::min(65535.0, (65535.0 - frame.zero) / frame.scale);
      }
      return true;
    case CV_32F:
      take_reals(combine<float, float>(picture), frame);
      return true;
    default:
      return false;
  }
}

const char* name_of(FileKind kind) {
  return kind == FileKind::tiff ? "TIFF" : kind == FileKind::png ? "PNG" : "JPEG";
}

}  // namespace

Result<Frame> read_picture(const std::filesystem::path& path, FileKind kind, const ReadOptions& options) {
  std::vector<std::uint8_t> bytes = read_all(path);
  const cv::Mat picture = decode(bytes, kind);
  if (picture.empty()) {
    // Some early raw files carry no mark of being raw.
    if (kind == FileKind::tiff)
      if (auto raw = read_raw(path, options)) return raw;
    return file_error(ErrorCode::file_unreadable, path, fmt::format("a damaged or unusual {}", name_of(kind)),
                      fmt::format("a complete {} with 8, 16 or 32 (float) bits", name_of(kind)),
                      "Export the frame again");
  }
  if (Status wrong = check_size(path, picture.cols, picture.rows)) return *wrong;
  Frame frame;
  frame.path = path;
  frame.kind = kind;
  frame.width = picture.cols;
  frame.height = picture.rows;
  frame.lossy = kind == FileKind::jpeg;
  if (!take_pixels(picture, frame))
    return file_error(ErrorCode::file_unsupported, path, fmt::format("{} samples of another type", name_of(kind)),
                      "8 or 16-bit integers or 32-bit floats", "Export the frame with 16 bits");
  if (picture.depth() != CV_8U)
    if (const auto clipped = clipping_level(frame.pixels))
      frame.white_level = std::min<double>(frame.white_level, *clipped);
  if (options.metadata_only) frame.pixels.clear();
  auto warnings = std::move(frame.metadata.warnings);
  frame.metadata = metadata_from_exif(read_exif(path), frame.width, frame.height, 1, options);
  if (frame.lossy && !jpeg_is_complete(bytes))
    frame.metadata.warnings.push_back("the JPEG ends early; part of the picture is missing");
  frame.metadata.warnings.insert(frame.metadata.warnings.end(), warnings.begin(), warnings.end());
  return frame;
}

}  // namespace polewright
