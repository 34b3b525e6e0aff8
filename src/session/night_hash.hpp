// Names content: a 64-bit hash of bytes, fast enough not to be noticed beside reading them.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string_view>

namespace polewright::session {

[[nodiscard]] std::uint64_t hash_bytes(std::string_view bytes, std::uint64_t seed = 0);
/// Of a whole file, read in pieces. Nothing when it cannot be read.
[[nodiscard]] std::optional<std::uint64_t> hash_file(const std::filesystem::path& path);

}  // namespace polewright::session
