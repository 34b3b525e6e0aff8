#include "frame/site_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <string>
#include <vector>

#include "polewright/frame.hpp"

namespace polewright {
namespace {

/// Letters and signs that only separate: degree, minute and second marks in ASCII, Latin-1 and UTF-8, and blanks.
bool separates(unsigned char c) {
  return c == ' ' || c == ':' || c == '\'' || c == '"' || c == 'd' || c == 'h' || c == 'm' || c == 's' || c == 0xB0 ||
         c == 0xBA || c == 0xC2 || c == 0xE2 || c == 0x80 || c == 0x99 || c == 0xB2 || c == 0xB3 || c == 0x9D;
}

struct Fields {
  std::vector<double> number;
  std::vector<std::size_t> digits;
  char sign = '\0';
  char hemisphere = '\0';
};

std::optional<Fields> split(std::string_view text) {
  Fields f;
  for (std::size_t i = 0; i < text.size();) {
    const char c = text[i];
    if ((c >= '0' && c <= '9') || c == '.') {
      double v = 0.0;
      const auto [end, ec] = std::from_chars(text.data() + i, text.data() + text.size(), v, std::chars_format::fixed);
      if (ec != std::errc{}) return {};
      const auto used = static_cast<std::size_t>(end - (text.data() + i));
      f.number.push_back(v);
      f.digits.push_back(used);
      i += used;
    } else if (c == 'N' || c == 'S' || c == 'E' || c == 'W') {
      if (f.hemisphere) return {};
      f.hemisphere = c;
      ++i;
    } else if ((c == '+' || c == '-') && f.number.empty() && !f.sign) {
      f.sign = c;
      ++i;
    } else if (separates(static_cast<unsigned char>(c))) {
      ++i;
    } else {
      return {};
    }
  }
  return f;
}

}  // namespace

std::optional<double> parse_number(std::string_view text) {
  const auto first = text.find_first_not_of(' '), last = text.find_last_not_of(' ');
  if (first == std::string_view::npos) return {};
  std::string copy(text.substr(first, last - first + 1));
  std::replace_if(
      copy.begin(), copy.end(), [](char c) { return c == 'D' || c == 'd'; }, 'E');
  if (copy.front() == '+') copy.erase(0, 1);
  double v = 0.0;
  const auto [end, ec] = std::from_chars(copy.data(), copy.data() + copy.size(), v);
  if (ec != std::errc{} || end != copy.data() + copy.size() || !std::isfinite(v)) return {};
  return v;
}

std::optional<ParsedAngle> parse_angle(std::string_view text) {
  if (const auto plain = parse_number(text)) return ParsedAngle{*plain, false, '\0'};
  const auto f = split(text);
  if (!f || f->number.empty() || f->number.size() > 4) return {};
  ParsedAngle a;
  a.sexagesimal = f->number.size() > 1;
  a.hemisphere = f->hemisphere;
  a.value = f->number[0];
  if (a.sexagesimal) {
    double seconds = f->number.size() > 2 ? f->number[2] : 0.0;
    // A fourth field is the decimals of the seconds behind one separator too many.
    if (f->number.size() == 4) seconds += f->number[3] * std::pow(10.0, -static_cast<double>(f->digits[3]));
    if (f->number[1] >= 60.0 || seconds >= 60.0) return {};
    a.value += f->number[1] / 60.0 + seconds / 3600.0;
  }
  if ((f->sign == '-') != (a.hemisphere == 'S' || a.hemisphere == 'W')) a.value = -a.value;
  return a;
}

Result<Site> parse_site(const std::string& text) {
  const auto wrong = [&](const std::string& found) {
    return Error{ErrorCode::option_invalid, "", found,
                 "LATITUDE,LONGITUDE[,HEIGHT_M] in degrees, north and east positive",
                 "Write for example 46.55,7.98,1650 or '46:33:00 N, 7:58:48 E'"};
  };
  std::vector<std::string> part(1);
  for (const char c : text) {
    if (c == ',' || c == ';') {
      part.emplace_back();
    } else {
      part.back() += c;
    }
  }
  if (part.size() < 2 || part.size() > 3) return wrong(fmt::format("'{}' has {} of 2 or 3 values", text, part.size()));
  const auto latitude = parse_angle(part[0]), longitude = parse_angle(part[1]);
  if (!latitude) return wrong(fmt::format("latitude '{}' is no angle", part[0]));
  if (!longitude) return wrong(fmt::format("longitude '{}' is no angle", part[1]));
  if (latitude->hemisphere == 'E' || latitude->hemisphere == 'W' || longitude->hemisphere == 'N' ||
      longitude->hemisphere == 'S')
    return wrong(fmt::format("'{}' gives the longitude first", text));
  if (std::abs(latitude->value) > 90.0) return wrong(fmt::format("latitude {} outside −90 to 90", latitude->value));
  if (std::abs(longitude->value) > 360.0)
    return wrong(fmt::format("longitude {} outside −360 to 360", longitude->value));
  Site site{Angle::deg(latitude->value), Angle::deg(longitude->value).wrapped_signed(), 0.0};
  if (part.size() == 3) {
    std::string height = part[2];
    std::erase(height, ' ');
    if (!height.empty() && height.back() == 'm') height.pop_back();
    const auto metres = parse_angle(height);
    if (!metres || metres->sexagesimal) return wrong(fmt::format("height '{}' is no number", part[2]));
    if (metres->value < -500.0 || metres->value > 9000.0)
      return wrong(fmt::format("height {} m outside −500 to 9000 m", metres->value));
    site.height_m = metres->value;
  }
  return site;
}

}  // namespace polewright
