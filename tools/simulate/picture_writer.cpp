#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgcodecs.hpp>

#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

double sample_at_share(std::vector<std::uint16_t> samples, double share) {
  const auto nth = samples.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(samples.size() - 1));
  std::nth_element(samples.begin(), nth, samples.end());
  return *nth;
}

/// Eight bits for looking at: dark sky a little above black, arcsinh above, as a camera's own picture style lifts it.
cv::Mat tone_mapped(const Frame& frame) {
  const double low = sample_at_share(frame.pixels, 0.02), high = sample_at_share(frame.pixels, 0.997);
  cv::Mat out(frame.height, frame.width, CV_8UC1);
  const double range = std::max(high - low, 1.0);
  for (int y = 0; y < frame.height; ++y) {
    for (int x = 0; x < frame.width; ++x) {
      const double u = std::max(0.0, (frame.at(x, y) - low) / range);
      out.at<std::uint8_t>(y, x) = cv::saturate_cast<std::uint8_t>(255.0 * std::asinh(5.0 * u) / std::asinh(5.0));
    }
  }
  return out;
}

Status encode(const std::filesystem::path& path, const cv::Mat& plane) {
  std::string why = "the encoder refused";
  try {
    if (cv::imwrite(path.string(), plane, {cv::IMWRITE_JPEG_QUALITY, 92})) return std::nullopt;
  } catch (const cv::Exception& e) {
    why = e.what();
  }
  return Error{ErrorCode::write_failed, path.string(), why, "a writable place for a picture", ""};
}

}  // namespace

Status write_picture(const std::filesystem::path& path, const Frame& frame) {
  const std::string kind = path.extension().string();
  if (kind == ".jpg" || kind == ".jpeg") return write_preview(path, frame);
  if (kind != ".tif" && kind != ".tiff" && kind != ".png")
    return Error{ErrorCode::write_failed, path.string(), kind, ".tif, .png or .jpg", ""};
  // OpenCV only reads the samples, but its header wants them mutable.
  auto* samples = const_cast<std::uint16_t*>(frame.pixels.data());
  return encode(path, cv::Mat(frame.height, frame.width, CV_16UC1, samples));
}

Status write_preview(const std::filesystem::path& path, const Frame& frame) {
  return encode(path, tone_mapped(frame));
}

}  // namespace polewright::simulate
