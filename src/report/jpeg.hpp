// Grey pictures as JPEG files in memory, as the page embeds them and the session's cache keeps them.
#pragma once

#include <cstddef>
#include <string>

#include "polewright/evidence.hpp"

namespace polewright::report {

/// The picture as a JPEG file, quality 85; lower, down to a floor below which stars would be lost, until it has at most
/// `most_bytes`. Empty for an empty picture.
[[nodiscard]] std::string jpeg_of(const GreyPicture& picture, std::size_t most_bytes = static_cast<std::size_t>(-1));

/// The picture inside a JPEG file; empty when it is none.
[[nodiscard]] GreyPicture picture_in(const std::string& jpeg);

/// "data:image/jpeg;base64,…"; empty for an empty file.
[[nodiscard]] std::string jpeg_data_uri(const std::string& jpeg);

}  // namespace polewright::report
