//! Tables, JSON and pictures of results.
