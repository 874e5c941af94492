//! A content that is drawn from steadily and loses a share of itself: `ds/dt = -r - l s`, s over the capacity, r and l for
//! each hour, in closed form.

/// Content after some hours, not below nothing.
pub(super) fn content_after(content: f64, hours: f64, drawn_per_h: f64, leak_per_h: f64) -> f64 {
    if leak_per_h == 0.0 {
        return content - drawn_per_h * hours;
    }
    // (s + r/l) e^(-l t) - r/l, without the difference of two large numbers where l is small.
    let faded = libm::expm1(-leak_per_h * hours);
    content + faded * (content + drawn_per_h / leak_per_h)
}

/// Hours until the content is down to a floor; 0 when it is already, infinite when it never is.
pub(super) fn hours_to(content: f64, floor: f64, drawn_per_h: f64, leak_per_h: f64) -> f64 {
    if content <= floor {
        return 0.0;
    }
    if leak_per_h == 0.0 {
        return (content - floor) / drawn_per_h;
    }
    libm::log1p(leak_per_h * (content - floor) / (leak_per_h * floor + drawn_per_h)) / leak_per_h
}
