#include <fmt/format.h>

#include <opencv2/core/utils/logger.hpp>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include "frame/exif.hpp"
#include "frame/levels.hpp"
#include "frame/quantise.hpp"
#include "frame/quiet_stderr.hpp"
#include "frame/readers.hpp"

namespace polewright {
namespace {

cv::Mat decode(const std::filesystem::path& path) {
  const QuietStderr quiet;
  // Unchanged keeps depth and ignores the orientation tag: rows stay as stored.
  return cv::imread(path.string(), cv::IMREAD_UNCHANGED | cv::IMREAD_IGNORE_ORIENTATION);
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
  const cv::Mat picture = decode(path);
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
  frame.metadata.warnings.insert(frame.metadata.warnings.end(), warnings.begin(), warnings.end());
  return frame;
}

}  // namespace polewright
