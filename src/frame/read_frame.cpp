#include <fmt/format.h>

#include <system_error>

#include "frame/readers.hpp"
#include "frame/sniff.hpp"

namespace polewright {
namespace {

constexpr const char* kReadable = "FITS, camera raw, DNG, TIFF, PNG or JPEG";

Status check_file(const std::filesystem::path& path) {
  std::error_code ec;
  const auto status = std::filesystem::status(path, ec);
  if (!std::filesystem::exists(status))
    return file_error(ErrorCode::file_missing, path, "no such file", "a frame", "Check the name and the folder");
  if (std::filesystem::is_directory(status))
    return file_error(ErrorCode::file_unreadable, path, "a folder", "one file", "Name the frames in it");
  if (!std::filesystem::is_regular_file(status))
    return file_error(ErrorCode::file_unreadable, path, "not a regular file", kReadable, "Copy the frame to a disk");
  const auto size = std::filesystem::file_size(path, ec);
  if (!ec && size == 0)
    return file_error(ErrorCode::file_truncated, path, "an empty file", kReadable, "Copy it from the camera again");
  if (read_head(path, 1).empty())
    return file_error(ErrorCode::file_unreadable, path, "a file that may not be read", kReadable,
                      "Check its permissions");
  return {};
}

Result<Frame> read_kind(const std::filesystem::path& path, FileKind kind, const ReadOptions& options) {
  switch (kind) {
    case FileKind::fits:
      return read_fits(path, options);
    case FileKind::raw:
      return read_raw(path, options);
    default:
      return read_picture(path, kind, options);
  }
}

}  // namespace

Status check_size(const std::filesystem::path& path, long width, long height) {
  if (width >= 1 && height >= 1 && width <= kMaxSide && height <= kMaxSide && width * height <= kMaxPixels) return {};
  return file_error(ErrorCode::file_unsupported, path, fmt::format("a picture of {}×{} pixels", width, height),
                    fmt::format("1 to {} pixels a side", kMaxSide), "The header may be damaged; copy the file again");
}

Result<Frame> read_frame(const std::filesystem::path& path, const ReadOptions& options) {
  try {
    if (Status wrong = check_file(path)) return *wrong;
    const auto kind = kind_of_file(path);
    if (!kind) {
      const std::string head = read_head(path, 64);
      const std::span<const std::uint8_t> bytes(reinterpret_cast<const std::uint8_t*>(head.data()), head.size());
      return file_error(ErrorCode::format_unknown, path, describe_head(bytes), kReadable,
                        "The content decides, not the name; export the frame in one of these formats");
    }
    return read_kind(path, *kind, options);
  } catch (const std::exception& e) {  // the codecs' own exceptions, and memory
    return file_error(ErrorCode::file_unreadable, path, e.what(), kReadable, "Copy the file again");
  }
}

bool looks_like_frame(const std::filesystem::path& path) {
  try {
    std::error_code ec;
    if (!std::filesystem::is_regular_file(path, ec)) return false;
    const std::string head = read_head(path, 16);
    return kind_of_head({reinterpret_cast<const std::uint8_t*>(head.data()), head.size()}).has_value();
  } catch (const std::exception&) {
    return false;
  }
}

}  // namespace polewright
