// Packs the star table from Hipparcos and Tycho-2. See README.md beside this file.
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <numeric>
#include <stdexcept>

#include "catalogue/packed.hpp"
#include "catalogue/sky_cells.hpp"
#include "sources.hpp"

using namespace polewright;
using namespace polewright::build;

namespace {

constexpr int kBands = 60;  // 3° cells with about 80 stars: a cone touches few of them, and few stars outside it
constexpr Angle kExclusion = Angle::arcsec(10.0), kSameStar = Angle::arcsec(0.5);

/// Adds the Tycho-2 stars that no Hipparcos star stands for, and gives the others' positions to Hipparcos.
std::vector<SourceStar> unite(std::vector<SourceStar> hipparcos, const std::vector<SourceStar>& tycho2) {
  const SkyCells cells(720);
  std::vector<std::vector<std::uint32_t>> in_cell(cells.count());
  for (std::uint32_t i = 0; i < hipparcos.size(); ++i) in_cell[cells.cell_of(hipparcos[i].direction)].push_back(i);
  std::vector<SourceStar> both = hipparcos;
  for (const SourceStar& t : tycho2) {
    std::uint32_t nearest = 0;
    Angle distance = kExclusion;
    cells.visit_cone(t.direction, kExclusion, [&](std::uint32_t from, std::uint32_t to) {
      for (std::uint32_t cell = from; cell < to; ++cell)
        for (const std::uint32_t i : in_cell[cell])
          if (const Angle d = angle_between(hipparcos[i].direction, t.direction); d < distance) {
            distance = d;
            nearest = i;
          }
    });
    if (distance == kExclusion) both.push_back(t);
    if (distance < kSameStar) both[nearest].direction = t.direction;
  }
  return both;
}

template <class T>
void append(std::vector<std::byte>& out, const std::vector<T>& section) {
  const auto* data = reinterpret_cast<const std::byte*>(section.data());
  out.insert(out.end(), data, data + section.size() * sizeof(T));
}

std::vector<std::byte> pack(std::vector<SourceStar> stars, const std::map<int, std::string>& names) {
  const SkyCells cells(kBands);
  std::sort(stars.begin(), stars.end(), [&](const SourceStar& a, const SourceStar& b) {
    const auto ca = cells.cell_of(a.direction), cb = cells.cell_of(b.direction);
    return ca != cb ? ca < cb : a.magnitude < b.magnitude;
  });
  std::vector<std::uint32_t> first(cells.count() + 1, 0);
  std::vector<packed::Star> packed_stars;
  std::vector<packed::Motion> motions;
  std::vector<packed::Name> name_table;
  std::vector<char> text;
  const auto moving = proper_motions();
  for (const SourceStar& s : stars) {
    const auto index = static_cast<std::uint32_t>(packed_stars.size());
    ++first[cells.cell_of(s.direction) + 1];
    packed::Star p = packed::pack_direction(s.direction);
    p.millimagnitude = static_cast<std::int16_t>(std::lround(s.magnitude * 1000.0));
    if (const auto m = moving.find(s.hipparcos); m != moving.end()) {
      p.has_motion = 1;
      motions.push_back({index, static_cast<float>(m->second.ra_cosdec), static_cast<float>(m->second.dec)});
    }
    if (const auto n = names.find(s.hipparcos); n != names.end()) {
      name_table.push_back({index, static_cast<std::uint32_t>(text.size())});
      text.insert(text.end(), n->second.c_str(), n->second.c_str() + n->second.size() + 1);
    }
    packed_stars.push_back(p);
  }
  std::partial_sum(first.begin(), first.end(), first.begin());
  while (text.size() % 4 != 0) text.push_back('\0');

  packed::Header h;
  h.bands = kBands;
  h.stars = static_cast<std::uint32_t>(packed_stars.size());
  h.motions = static_cast<std::uint32_t>(motions.size());
  h.names = static_cast<std::uint32_t>(name_table.size());
  h.text_bytes = static_cast<std::uint32_t>(text.size());
  std::vector<std::byte> out(sizeof h);
  append(out, first);
  append(out, packed_stars);
  append(out, motions);
  append(out, name_table);
  append(out, text);
  h.checksum = packed::checksum(std::span(out).subspan(sizeof h));
  std::memcpy(out.data(), &h, sizeof h);
  fmt::print("{} stars, {} proper motions, {} names, {} bytes\n", h.stars, h.motions, h.names, out.size());
  return out;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 5) {
    fmt::print(stderr,
               "usage: build_catalogue stars.14.json starnames.json index-tycho2-10.littleendian.fits OUTPUT\n");
    return 1;
  }
  try {
    const auto bytes = pack(unite(read_hipparcos(argv[1]), read_tycho2(argv[3])), read_names(argv[2]));
    std::ofstream file(argv[4], std::ios::binary);
    file.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    if (!file.flush()) throw std::runtime_error(std::string(argv[4]) + ": not written");
  } catch (const std::exception& e) {
    fmt::print(stderr, "{}\n", e.what());
    return 1;
  }
  return 0;
}
