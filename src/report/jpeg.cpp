#include "report/jpeg.hpp"

#include <opencv2/imgcodecs.hpp>
#include <string_view>

namespace polewright::report {
namespace {

std::string base64(const std::string& bytes) {
  static constexpr std::string_view kDigits = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const std::size_t left = bytes.size() - i;
    const auto at = [&](std::size_t k) { return k < left ? static_cast<unsigned char>(bytes[i + k]) : 0U; };
    const unsigned b = at(0) << 16U | at(1) << 8U | at(2);
    out += kDigits[b >> 18U];
    out += kDigits[b >> 12U & 63U];
    out += left > 1 ? kDigits[b >> 6U & 63U] : '=';
    out += left > 2 ? kDigits[b & 63U] : '=';
  }
  return out;
}

}  // namespace

std::string jpeg_of(const GreyPicture& picture, std::size_t most_bytes) {
  if (picture.pixels.empty()) return {};
  const cv::Mat grey(picture.height_px, picture.width_px, CV_8UC1, const_cast<std::uint8_t*>(picture.pixels.data()));
  std::vector<unsigned char> bytes;
  for (int quality = 85; quality >= 35; quality -= 10) {
    cv::imencode(".jpg", grey, bytes, {cv::IMWRITE_JPEG_QUALITY, quality});
    if (bytes.size() <= most_bytes) break;
  }
  return {bytes.begin(), bytes.end()};
}

GreyPicture picture_in(const std::string& jpeg) {
  if (!jpeg.starts_with("\xff\xd8")) return {};  // no other format that the library would open
  const cv::Mat bytes(1, static_cast<int>(jpeg.size()), CV_8UC1, const_cast<char*>(jpeg.data()));
  const cv::Mat grey = cv::imdecode(bytes, cv::IMREAD_GRAYSCALE);
  if (grey.empty()) return {};
  return {grey.cols, grey.rows, {grey.begin<std::uint8_t>(), grey.end<std::uint8_t>()}};
}

std::string jpeg_data_uri(const std::string& jpeg) {
  return jpeg.empty() ? std::string() : "data:image/jpeg;base64," + base64(jpeg);
}

}  // namespace polewright::report
