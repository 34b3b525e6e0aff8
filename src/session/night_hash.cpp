#include "session/night_hash.hpp"

#include <array>
#include <cstring>
#include <fstream>
#include <vector>

namespace polewright::session {
namespace {

/// Finaliser of splitmix64 (Steele, Lea and Flood 2014): every input bit reaches every output bit.
std::uint64_t mix(std::uint64_t x) {
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9ULL;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebULL;
  return x ^ (x >> 31);
}

}  // namespace

std::uint64_t hash_bytes(std::string_view bytes, std::uint64_t seed) {
  // Four independent lanes let the multiplications overlap; one would run at the latency of each.
  std::array<std::uint64_t, 4> lane{seed ^ 0x9e3779b97f4a7c15ULL, seed + 0xc2b2ae3d27d4eb4fULL,
                                    seed ^ 0x165667b19e3779f9ULL, ~seed};
  const char* at = bytes.data();
  std::size_t left = bytes.size();
  for (; left >= 32; left -= 32, at += 32)
    for (std::size_t k = 0; k < 4; ++k) {
      std::uint64_t word;
      std::memcpy(&word, at + 8 * k, 8);
      lane[k] = (lane[k] ^ word) * 0xff51afd7ed558ccdULL;
      lane[k] ^= lane[k] >> 29;
    }
  std::uint64_t hash = bytes.size();
  for (const std::uint64_t l : lane) hash = mix(hash ^ l) + 0x9e3779b97f4a7c15ULL;
  for (; left > 0; --left, ++at) hash = mix(hash ^ static_cast<unsigned char>(*at)) + left;
  return hash;
}

std::optional<std::uint64_t> hash_file(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) return {};
  std::vector<char> piece(1 << 20);
  std::uint64_t hash = 0;
  while (in) {
    in.read(piece.data(), static_cast<std::streamsize>(piece.size()));
    hash = hash_bytes({piece.data(), static_cast<std::size_t>(in.gcount())}, hash);
  }
  if (in.bad()) return {};
  return hash;
}

}  // namespace polewright::session
