// What a file is, from its first bytes and, for TIFF, from its directories.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>

#include "polewright/frame.hpp"

namespace polewright {

/// Kind by the first bytes alone (16 are enough); nothing when they belong to no format this program reads.
/// A TIFF structure counts as tiff, whatever camera wrote it, unless the bytes name a raw format.
std::optional<FileKind> kind_of_head(std::span<const std::uint8_t> head);

/// Kind of a readable file. TIFF structures become raw when a directory says so: a DNG version, a colour-filter or
/// linear-raw photometric interpretation (TIFF/EP and DNG), or a maker's raw compression.
std::optional<FileKind> kind_of_file(const std::filesystem::path& path);

/// False when a colour-filter or DNG tag of a TIFF-based raw points outside the file, or the filter pattern has another
/// size than its dimensions say. LibRaw 0.20 follows such tags and crashes, so they are refused before it sees them.
bool raw_tags_are_sound(const std::filesystem::path& path);

/// What the first bytes look like to a person, for a message: "text", "a gzip archive", "unknown bytes 1a 2b".
std::string describe_head(std::span<const std::uint8_t> head);

/// The first bytes of a file; fewer when it is shorter, none when it cannot be opened.
std::string read_head(const std::filesystem::path& path, std::size_t bytes);

}  // namespace polewright
