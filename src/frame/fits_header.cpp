#include "frame/fits_header.hpp"

#include <fmt/format.h>

#include <cmath>

#include "frame/site_text.hpp"

namespace polewright {
namespace {

std::string trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(' '), last = text.find_last_not_of(' ');
  return first == std::string_view::npos ? std::string() : std::string(text.substr(first, last - first + 1));
}

/// The value of a card behind '= ': a quoted text with doubled quotes, or anything up to the comment.
std::string card_value(std::string_view rest) {
  const auto start = rest.find_first_not_of(' ');
  if (start == std::string_view::npos) return {};
  if (rest[start] != '\'') return trimmed(rest.substr(start, rest.find('/', start) - start));
  std::string text;
  for (std::size_t i = start + 1; i < rest.size(); ++i) {
    if (rest[i] == '\'') {
      if (i + 1 >= rest.size() || rest[i + 1] != '\'') break;
      ++i;
    }
    text += rest[i];
  }
  return trimmed(text);
}

}  // namespace

void FitsHeader::add(std::string_view card) {
  if (card.size() < 10 || card.substr(8, 2) != "= ") return;
  value_.emplace(trimmed(card.substr(0, 8)), card_value(card.substr(10)));
}

const std::string* FitsHeader::text(const std::string& keyword) const {
  const auto found = value_.find(keyword);
  return found == value_.end() || found->second.empty() ? nullptr : &found->second;
}

std::optional<double> FitsHeader::number(const std::string& keyword) const {
  const std::string* value = text(keyword);
  return value ? parse_number(*value) : std::nullopt;
}

MaybeSourced<std::string> FitsHeader::first_text(std::initializer_list<const char*> keywords) const {
  for (const char* keyword : keywords)
    if (const std::string* value = text(keyword)) return Sourced<std::string>{*value, std::string("FITS ") + keyword};
  return {};
}

MaybeSourced<double> FitsHeader::first_number(std::initializer_list<const char*> keywords, double low, double high,
                                              double relative_tolerance, std::vector<std::string>& warnings) const {
  MaybeSourced<double> chosen;
  for (const char* keyword : keywords) {
    const auto value = number(keyword);
    if (!value || *value < low || *value > high) continue;
    if (!chosen) {
      chosen = Sourced<double>{*value, std::string("FITS ") + keyword};
    } else if (std::abs(*value - chosen->value) > relative_tolerance * std::abs(chosen->value)) {
      warnings.push_back(
          fmt::format("{} is {} but FITS {} is {}; used the first", chosen->source, chosen->value, keyword, *value));
    }
  }
  return chosen;
}

}  // namespace polewright
