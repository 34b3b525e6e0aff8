// FITS header cards by keyword, read leniently.
#pragma once

#include <initializer_list>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "polewright/frame.hpp"

namespace polewright {

/// Keyword → value. The first card of a keyword wins, so the image's own header is added before the primary one.
class FitsHeader {
 public:
  /// Adds one card as stored (up to 80 characters). Cards without a value are skipped.
  void add(std::string_view card);

  /// Value without quotes and outer blanks; nullptr when the keyword is absent or its value empty.
  [[nodiscard]] const std::string* text(const std::string& keyword) const;
  /// Value as a number, quoted or not; nothing when it is none.
  [[nodiscard]] std::optional<double> number(const std::string& keyword) const;

  /// Text of the first keyword present.
  [[nodiscard]] MaybeSourced<std::string> first_text(std::initializer_list<const char*> keywords) const;
  /// First of the keywords with a number in [low, high]. Later ones that differ by more than `relative_tolerance`
  /// add a warning.
  MaybeSourced<double> first_number(std::initializer_list<const char*> keywords, double low, double high,
                                    double relative_tolerance, std::vector<std::string>& warnings) const;

 private:
  std::map<std::string, std::string> value_;
};

}  // namespace polewright
