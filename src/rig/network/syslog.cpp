#include "rig/network/syslog.hpp"

#include <algorithm>

#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

bool is_visible(char c) { return c > ' ' && c <= '~'; }

/// Reads the head of a message from left to right. What a function expects and does not
/// find is false.
class Head {
 public:
  explicit Head(std::string_view message) : rest_(message) {}
  [[nodiscard]] std::string_view rest() const { return rest_; }

  bool skip(char expected) {
    if (rest_.empty() || rest_.front() != expected) return false;
    rest_.remove_prefix(1);
    return true;
  }

  /// "<0>" to "<191>", without leading zeros.
  bool skip_priority() {
    constexpr int most = 191;
    if (!skip('<')) return false;
    const std::string_view digits = take_while(3, is_digit);
    if (digits.empty() || (digits.front() == '0' && digits.size() > 1)) return false;
    int priority = 0;
    for (const char digit : digits) priority = 10 * priority + (digit - '0');
    return priority <= most && skip('>');
  }

  bool skip_field(std::size_t longest) {
    return skip(' ') && !take_while(longest, is_visible).empty();
  }

  /// "-", or one or several "[id name="value" ...]".
  bool skip_structured_data() {
    if (!skip(' ')) return false;
    if (skip('-')) return true;
    if (rest_.empty() || rest_.front() != '[') return false;
    while (skip('[')) {
      if (!skip_element()) return false;
    }
    return true;
  }

 private:
  template <typename Is>
  std::string_view take_while(std::size_t longest, Is is) {
    const auto* const end = std::find_if_not(rest_.begin(), rest_.end(), is);
    const auto length = std::min(static_cast<std::size_t>(end - rest_.begin()), longest);
    const std::string_view taken = rest_.substr(0, length);
    rest_.remove_prefix(length);
    return taken;
  }

  bool skip_name() {
    constexpr std::size_t longest = 32;
    const auto is_of_name = [](char c) {
      return is_visible(c) && c != '=' && c != ']' && c != '"';
    };
    return !take_while(longest, is_of_name).empty();
  }

  bool skip_element() {
    if (!skip_name()) return false;
    while (skip(' ')) {
      if (!skip_name() || !skip('=') || !skip('"') || !skip_value()) return false;
    }
    return skip(']');
  }

  /// To behind its closing quote. A backslash before anything else stands for itself.
  bool skip_value() {
    while (!rest_.empty()) {
      const char c = rest_.front();
      const bool escapes = c == '\\' && rest_.size() > 1 &&
                           std::string_view("\"\\]").find(rest_[1]) != std::string_view::npos;
      rest_.remove_prefix(escapes ? 2 : 1);
      if (c == '"') return true;
      if (c == ']') return false;
    }
    return false;
  }

  std::string_view rest_;
};

std::string_view without_frills(std::string_view text) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
  if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
  while (!text.empty() && std::string_view("\r\n\0", 3).find(text.back()) != std::string_view::npos)
    text.remove_suffix(1);
  return text;
}

}  // namespace

std::optional<std::string_view> syslog_text(std::string_view message) {
  // RFC 5424, 6: TIMESTAMP, HOSTNAME, APP-NAME, PROCID, MSGID.
  constexpr std::size_t longest_timestamp = 32;
  Head head(message);
  const bool is_head = head.skip_priority() && head.skip('1') &&
                       head.skip_field(longest_timestamp) && head.skip_field(255) &&
                       head.skip_field(48) && head.skip_field(128) && head.skip_field(32) &&
                       head.skip_structured_data();
  if (!is_head) return std::nullopt;
  if (head.skip(' ')) return without_frills(head.rest());
  const bool has_ended = without_frills(head.rest()).empty();
  return has_ended ? std::optional<std::string_view>("") : std::nullopt;
}

bool SyslogFramer::feed(std::string_view bytes) {
  while (!bytes.empty() && part_ != Part::lost) {
    std::size_t taken = 0;
    switch (part_) {
      case Part::begin: taken = begin(bytes); break;
      case Part::count: taken = read_count(bytes); break;
      case Part::counted: taken = read_counted(bytes); break;
      case Part::line: taken = read_line(bytes); break;
      case Part::lost: break;
    }
    bytes.remove_prefix(taken);
  }
  return part_ != Part::lost;
}

/// Line ends before a message are no message.
std::size_t SyslogFramer::begin(std::string_view bytes) {
  const char first = bytes.front();
  if (first == '\n' || first == '\r') return 1;
  part_ = is_digit(first) ? Part::count : Part::line;
  return 0;
}

std::size_t SyslogFramer::read_count(std::string_view bytes) {
  const char c = bytes.front();
  if (c == ' ' && left_ > 0) {
    part_ = Part::counted;
    too_long_ = left_ > longest_message;
    return 1;
  }
  const bool leads = left_ == 0 && c == '0';
  if (is_digit(c) && !leads) left_ = 10 * left_ + static_cast<std::size_t>(c - '0');
  if (!is_digit(c) || leads || left_ > longest_count) part_ = Part::lost;
  return 1;
}

std::size_t SyslogFramer::read_counted(std::string_view bytes) {
  const std::size_t length = std::min(left_, bytes.size());
  keep(bytes.substr(0, length));
  left_ -= length;
  if (left_ == 0) finish();
  return length;
}

std::size_t SyslogFramer::read_line(std::string_view bytes) {
  const std::size_t length = std::min(bytes.find('\n'), bytes.size());
  keep(bytes.substr(0, length));
  if (length == bytes.size()) return length;
  finish();
  return length + 1;
}

void SyslogFramer::keep(std::string_view bytes) {
  too_long_ = too_long_ || message_.size() + bytes.size() > longest_message;
  if (!too_long_) message_ += bytes;
}

void SyslogFramer::finish() {
  if (too_long_) {
    ++dropped_;
  } else {
    take_(message_);
  }
  message_.clear();
  too_long_ = false;
  part_ = Part::begin;
}

}  // namespace plexor::rig
