// The three readers behind read_frame(). Each trusts that the content was recognised and reports everything else.
#pragma once

#include <filesystem>
#include <string>

#include "polewright/frame.hpp"

namespace polewright {

Result<Frame> read_fits(const std::filesystem::path& path, const ReadOptions& options);
Result<Frame> read_raw(const std::filesystem::path& path, const ReadOptions& options);
Result<Frame> read_picture(const std::filesystem::path& path, FileKind kind, const ReadOptions& options);

/// Refuses sizes no camera has, before memory is asked for them. `kMaxSide` bounds rows and columns.
inline constexpr long kMaxSide = 100'000;
inline constexpr long kMaxPixels = 1'000'000'000;
Status check_size(const std::filesystem::path& path, long width, long height);

inline Error file_error(ErrorCode code, const std::filesystem::path& path, std::string found, std::string expected,
                        std::string try_this) {
  return {code, path.string(), std::move(found), std::move(expected), std::move(try_this)};
}

}  // namespace polewright
