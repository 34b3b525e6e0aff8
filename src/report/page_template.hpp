// The page without its content, assembled at build time from src/report/page.
#pragma once

#include <string>
#include <string_view>

namespace polewright::report {

[[nodiscard]] std::string_view page_template();

/// What goes into the page's open slots.
struct PageContent {
  std::string plain;     ///< the result in words
  std::string result;    ///< JSON of the command, unchanged
  std::string evidence;  ///< JSON of pictures and series, as src/report/page reads it
};

/// The finished page. Nothing in the content can end the element it stands in or become markup.
[[nodiscard]] std::string fill_page(const PageContent& content);

}  // namespace polewright::report
