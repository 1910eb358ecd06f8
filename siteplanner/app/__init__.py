"""The Streamlit app."""
