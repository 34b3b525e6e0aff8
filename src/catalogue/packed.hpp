// Layout of the packed star table, shared by its builder and its reader. Little-endian, every section 4-byte aligned:
// header, first star of each sky cell (cells + 1 numbers), stars, proper motions, names, text of the names.
// Stars are ordered by sky cell, then by magnitude, so that a look-up stops at the magnitude limit in every cell.
#pragma once

#include <array>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>

#include "polewright/geometry.hpp"

namespace polewright::packed {

static_assert(std::endian::native == std::endian::little, "the packed tables are little-endian");

inline constexpr std::array<char, 8> kMagic{'P', 'W', 'S', 'T', 'A', 'R', 'S', '\n'};
inline constexpr std::uint32_t kVersion = 1;

struct Header {
  std::array<char, 8> magic = kMagic;
  std::uint32_t version = kVersion;
  std::uint32_t bands = 0;  ///< of the SkyCells
  std::uint32_t stars = 0;
  std::uint32_t motions = 0;
  std::uint32_t names = 0;
  std::uint32_t text_bytes = 0;
  std::uint64_t checksum = 0;  ///< of everything after the header
};

/// Direction on the octahedron |x|+|y|+|z| = 1 unfolded to a square: two numbers, no trigonometry, 0.001″ steps.
struct Star {
  std::int32_t u = 0, v = 0;
  std::int16_t millimagnitude = 0;
  std::uint16_t has_motion = 0;
};

struct Motion {
  std::uint32_t star = 0;
  float ra_cosdec_mas_per_year = 0.0F, dec_mas_per_year = 0.0F;
};

struct Name {
  std::uint32_t star = 0;  ///< ascending over the table
  std::uint32_t text = 0;  ///< offset of a zero-terminated string
};

static_assert(sizeof(Header) == 40 && sizeof(Star) == 12 && sizeof(Motion) == 12 && sizeof(Name) == 8);

inline constexpr double kUnit = 2147483647.0;

inline Star pack_direction(Vec<Icrs> d) {
  const double sum = std::abs(d.x) + std::abs(d.y) + std::abs(d.z);
  double u = d.x / sum, v = d.y / sum;
  if (d.z < 0.0) {
    const double folded = (1.0 - std::abs(v)) * (u < 0.0 ? -1.0 : 1.0);
    v = (1.0 - std::abs(u)) * (v < 0.0 ? -1.0 : 1.0);
    u = folded;
  }
  Star s;
  s.u = static_cast<std::int32_t>(std::lround(u * kUnit));
  s.v = static_cast<std::int32_t>(std::lround(v * kUnit));
  return s;
}

inline Vec<Icrs> unpack_direction(const Star& s) {
  double u = s.u / kUnit, v = s.v / kUnit;
  const double z = 1.0 - std::abs(u) - std::abs(v);
  if (z < 0.0) {
    const double unfolded = (1.0 - std::abs(v)) * (u < 0.0 ? -1.0 : 1.0);
    v = (1.0 - std::abs(u)) * (v < 0.0 ? -1.0 : 1.0);
    u = unfolded;
  }
  return Vec<Icrs>{u, v, z}.unit();
}

/// Tells damaged tables from whole ones; not meant against forgery. Four lanes, because the table is read at every
/// start.
inline std::uint64_t checksum(std::span<const std::byte> bytes) {
  constexpr std::uint64_t kPrime = 0x100000001B3ULL;  // the multiplier of the FNV-1a hash
  std::array<std::uint64_t, 4> lane{0xCBF29CE484222325ULL, 1, 2, 3};
  std::size_t at = 0;
  for (; at + 32 <= bytes.size(); at += 32) {
    std::array<std::uint64_t, 4> word;
    std::memcpy(word.data(), bytes.data() + at, 32);
    for (std::size_t i = 0; i < 4; ++i) lane[i] = (lane[i] ^ word[i]) * kPrime;
  }
  for (; at < bytes.size(); ++at) lane[0] = (lane[0] ^ static_cast<std::uint64_t>(bytes[at])) * kPrime;
  std::uint64_t sum = bytes.size();
  for (const std::uint64_t l : lane) sum = (std::rotl(sum, 17) ^ l ^ (l >> 29)) * kPrime;
  return sum;
}

}  // namespace polewright::packed
