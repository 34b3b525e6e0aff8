#include "unit/frame/writers/picture_file.hpp"

#include <exiv2/exiv2.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

namespace polewright::test {

void write_picture(const std::filesystem::path& path, const PictureFile& file) {
  const cv::Mat real(file.height, file.width * file.colours, CV_64F, const_cast<double*>(file.samples.data()));
  cv::Mat typed;
  real.convertTo(typed, file.bits == 8 ? CV_8U : file.bits == 16 ? CV_16U : CV_32F);
  std::vector<int> options;
  if (path.extension() == ".tif") options = {cv::IMWRITE_TIFF_COMPRESSION, 1};
  if (path.extension() == ".jpg") options = {cv::IMWRITE_JPEG_QUALITY, 95};
  if (!cv::imwrite(path.string(), typed.reshape(file.colours), options))
    throw std::runtime_error("cannot write " + path.string());
  if (file.exif.empty()) return;
  const auto image = Exiv2::ImageFactory::open(path.string());
  image->readMetadata();
  Exiv2::ExifData exif = image->exifData();
  for (const auto& [key, value] : file.exif) exif[key] = value;
  image->setExifData(exif);
  image->writeMetadata();
}

}  // namespace polewright::test
