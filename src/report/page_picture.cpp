#include <opencv2/imgcodecs.hpp>
#include <string_view>

#include "report/page_evidence.hpp"

namespace polewright::report {
namespace {

std::string base64(const std::vector<unsigned char>& bytes) {
  static constexpr std::string_view kDigits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t left = bytes.size() - i;
    const unsigned b = bytes[i] << 16U | (left > 1 ? bytes[i + 1] : 0U) << 8U | (left > 2 ? bytes[i + 2] : 0U);
    out += kDigits[b >> 18U];
    out += kDigits[b >> 12U & 63U];
    out += left > 1 ? kDigits[b >> 6U & 63U] : '=';
    out += left > 2 ? kDigits[b & 63U] : '=';
  }
  return out;
}

}  // namespace

std::string jpeg_data_uri(const GreyPicture& picture, std::size_t most_bytes) {
  if (picture.pixels.empty()) return {};
  const cv::Mat grey(picture.height_px, picture.width_px, CV_8UC1, const_cast<std::uint8_t*>(picture.pixels.data()));
  std::vector<unsigned char> bytes;
  for (int quality = 85; quality >= 35; quality -= 10) {
    cv::imencode(".jpg", grey, bytes, {cv::IMWRITE_JPEG_QUALITY, quality});
    if (bytes.size() <= most_bytes) break;
  }
  return "data:image/jpeg;base64," + base64(bytes);
}

}  // namespace polewright::report
