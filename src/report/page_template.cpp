#include "report/page_template.hpp"

#include <kainjow/mustache.hpp>
#include <stdexcept>

#include "report/assets.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

namespace mustache = kainjow::mustache;

/// Texts lose their control characters here, once for the whole page; the template engine escapes
/// what HTML needs.
mustache::data template_data(const View& view) {
  if (view.is_object()) {
    mustache::data object;
    for (const auto& [key, value] : view.items()) object.set(key, template_data(value));
    return object;
  }
  if (view.is_array()) {
    mustache::data list(mustache::data::type::list);
    for (const View& value : view) list.push_back(template_data(value));
    return list;
  }
  if (view.is_boolean()) return mustache::data(view.get<bool>());
  if (view.is_string()) return mustache::data(printable(view.get_ref<const std::string&>()));
  if (view.is_null()) return mustache::data(false);
  return mustache::data(view.dump());
}

/// What several templates share.
mustache::data part(std::string_view markup) {
  return mustache::data(mustache::partial([markup] { return std::string(markup); }));
}

/// JSON inside a script element: without '<' nothing in it can end the element or begin another.
std::string json_island(const View& view) {
  std::string out;
  for (const char c : view.dump(-1, ' ', false, View::error_handler_t::replace)) {
    if (c == '<') {
      out += "\\u003c";
    } else {
      out += c;
    }
  }
  return out;
}

}  // namespace

std::string filled_page(std::string_view page_template, std::string_view name, const View& view,
                        std::string_view script, const View& charts) {
  mustache::data data = template_data(view);
  data.set("head", part(assets::head_html));
  data.set("marks", part(assets::marks_html));
  data.set("surface_part", part(assets::surface_html));
  data.set("soak_part", part(assets::soak_html));
  data.set("style", std::string(assets::page_css));
  data.set("script", std::string(script));
  data.set("chart_library", std::string(assets::chart_js));
  data.set("chart_data", json_island(charts));
  mustache::mustache page{std::string(page_template)};
  std::string out = page.render(data);
  if (!page.is_valid()) throw std::logic_error(std::string(name) + ": " + page.error_message());
  return out;
}

}  // namespace plexor::report
